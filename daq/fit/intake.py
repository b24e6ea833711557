"""What a fitter writes down about a client in three minutes, before anything is measured.

Pydantic models, because the same shapes are read from a form, kept as JSON, and read again years later.
Scores are 0 to 10, 0 none. None: not asked.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from daq import text
from daq.values import SEAT_TUBE_DEG
from daq.words import counted

Score = Annotated[int, Field(ge=0, le=10)]
Line = Annotated[text.Line, Field(max_length=200)]
Text = Annotated[text.Lines, Field(max_length=2000)]
# fmt: off
Place = Literal[
    "hands", "thumb side", "little finger side", "wrists", "elbows", "shoulders", "neck", "upper back", "lower back",
    "sit bones", "perineum",
    "hip", "hamstring", "thigh front", "knee front", "knee back", "calf", "ankle", "foot",
]
Flag = Literal["numb", "weak", "bladder", "night", "chest", "fall"]
# fmt: on
Side = Literal["left", "right", "both"]
Reference = Literal["nose", "80 mm width"]
Hands = Literal["hoods", "tops", "drops", "flat bar", "extensions"]

RED_FLAGS: dict[Flag, str] = {
    "numb": "numbness that is still there hours after a ride",
    "weak": "weakness of a hand, a foot or a leg",
    "bladder": "a change of bladder, bowel or sexual function, or numbness between the legs off the bicycle",
    "night": "pain at night or at rest that does not let go",
    "chest": "chest pain, faintness or unusual breathlessness when riding",
    "fall": "a fall or injury of the last weeks that no clinician has seen",
}
"""Asked of every client. Common practice, no source."""
FEWEST_LETTERS = 3
"""Characters of a typed reason."""


class FormPart(BaseModel):
    """One frozen part of a form; unknown keys, NaN and infinities are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Symptom(FormPart):
    """Where it hurts or goes numb, and how much."""

    place: Place
    side: Side = "both"
    score: Score


class BegunSaddle(FormPart):
    """The client's saddle as far as it is known. mm and degrees, setback behind the BB."""

    name: Line = ""
    reference: Reference | None = None
    nose_to_width_mm: Annotated[float, Field(ge=0, le=200)] | None = None
    """From the nose back to where the saddle is 80 mm wide; it converts between the two reference points."""
    setback_mm: Annotated[float, Field(ge=-100, le=300)] | None = None
    height_mm: Annotated[float, Field(ge=400, le=1000)] | None = None
    """BB to the saddle's top along the seat tube."""
    tilt_deg: Annotated[float, Field(ge=-20, le=20)] | None = None
    """Nose up positive."""


class Saddle(BegunSaddle):
    """The client's saddle and where it is now."""

    reference: Reference
    """The point to which every setback of this client is measured."""


class OwnBicycle(FormPart):
    """The client's own bicycle, for its front-wheel share. Origin BB, x forward."""

    name: Line = ""
    wheelbase_mm: Annotated[float, Field(ge=700, le=2500)] | None = None
    chainstay_mm: Annotated[float, Field(ge=300, le=700)] | None = None
    """Without wheelbase and chainstay no share is computed."""
    bb_drop_mm: Annotated[float, Field(ge=-100, le=120)] = 70.0
    wheel_radius_mm: Annotated[float, Field(ge=150, le=450)] = 340.0
    mass_kg: Annotated[float, Field(ge=3, le=60)] = 8.5
    """Typical road bicycle values, if not measured. Assumption."""
    com_x_mm: Annotated[float, Field(ge=-600, le=1200)] = 150.0
    """Centre of mass of the bicycle. Assumption unless it was found by balancing."""
    com_y_mm: Annotated[float, Field(ge=-300, le=1000)] = 200.0


class SeatPost(FormPart):
    """Where the saddle can be put on the client's own bicycle. mm and degrees."""

    seat_tube_deg: Annotated[float, Field(ge=60, le=85)] = SEAT_TUBE_DEG
    post_offset_mm: Annotated[float, Field(ge=-60, le=80)] = 0.0
    """Clamp behind the post's axis, perpendicular to it; 0 for a straight post."""
    clamp_below_saddle_mm: Annotated[float, Field(ge=0, le=150)] = 45.0
    """Saddle top over the middle of the rails. Assumption unless measured."""
    rails_front_mm: Annotated[float, Field(ge=0, le=300)] | None = None
    """From the setback's reference point back to the foremost mark at which the clamp may grip."""
    rails_rear_mm: Annotated[float, Field(ge=0, le=350)] | None = None
    """Without both marks nothing is said about the rails' range."""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        front_mm, rear_mm = self.rails_front_mm, self.rails_rear_mm
        if front_mm is not None and rear_mm is not None and rear_mm <= front_mm:
            raise ValueError(
                f"the rearmost clamp mark lies further back than the foremost, got {rear_mm:g} and {front_mm:g} mm"
            )
        return self


class Feel(FormPart):
    """How riding feels, each 0 to 10: what the loads cannot show."""

    over_the_top: Score | None = None
    """Pushing over the top of the stroke is hard work."""
    choppy_climbing: Score | None = None
    """The stroke dies at the bottom on climbs of 4 to 5 %."""
    hamstrings_calves: Score | None = None
    """Tired hamstrings and calves."""
    quadriceps: Score | None = None
    """Tired quadriceps."""
    creeping_forward: Score | None = None
    """Creeps forward on the saddle and pushes back."""
    front_light: Score | None = None
    """The front wheel is light or wanders on climbs."""


class BegunIntake(FormPart):
    """One client on one day, as far as entered: it is stored before it is complete."""

    mass_kg: Annotated[float, Field(ge=30, le=200)] | None = None
    goal: Text = ""
    riding: Line = ""
    hours_a_week: Annotated[float, Field(ge=0, le=60)] | None = None
    injuries: Text = ""
    symptoms: Annotated[tuple[Symptom, ...], Field(max_length=30)] = ()
    red_flags: tuple[Flag, ...] = ()
    """Questions answered with yes."""
    cleared: tuple[Flag, ...] = ()
    """Questions answered with no. A question in neither list has not been asked today."""
    flag_reason: Text = ""
    """Why the fitter goes on in spite of a yes."""
    saddle: BegunSaddle = BegunSaddle()
    shoes: Line = ""
    crank_mm: Annotated[float, Field(ge=100, le=200)] | None = None
    bar: Line = ""
    hands: Hands = "hoods"
    inseam_mm: Annotated[float, Field(ge=500, le=1100)] | None = None
    bicycle: OwnBicycle | None = None
    post: SeatPost | None = None
    feel: Feel = Feel()


class Intake(BegunIntake):
    """One client on one day, complete enough to begin."""

    mass_kg: Annotated[float, Field(ge=30, le=200)]
    """As ridden: clothes, shoes, bottles on the body."""
    saddle: Saddle


def whole(begun: BegunIntake) -> Intake | None:
    """The intake, once it has what everything else needs: the mass, and the setback's reference point."""
    if begun.mass_kg is None or begun.saddle.reference is None:
        return None
    return Intake.model_validate(begun.model_dump())


def missing(begun: BegunIntake | None) -> tuple[str, ...]:
    """What is missing for it to be complete, in the words of the form."""
    begun = BegunIntake() if begun is None else begun
    lacking = (("mass as ridden", begun.mass_kg), ("what the setback is measured to", begun.saddle.reference))
    return tuple(words for words, value in lacking if value is None)


def unanswered(intake: BegunIntake) -> tuple[Flag, ...]:
    """The red-flag questions nobody has answered today."""
    return tuple(flag for flag in RED_FLAGS if flag not in intake.red_flags and flag not in intake.cleared)


def flags_in_the_way(intake: BegunIntake) -> str:
    """Why nobody may ride before the red flags are dealt with; empty once they are."""
    if left := len(unanswered(intake)):
        asked = counted(left, "question")
        return f"{asked} asked of every client not answered yet; see the client screen"
    if intake.red_flags and len(intake.flag_reason.strip()) < FEWEST_LETTERS:
        return "a question was answered with yes: write down why the client rides anyway, on the client screen"
    return ""


def clinician_advice(intake: BegunIntake) -> str:
    """The sentence for a client with a red flag; empty without one."""
    if not intake.red_flags:
        return ""
    named = "; ".join(RED_FLAGS[flag] for flag in intake.red_flags)
    return f"Advise the client to see a clinician before riding on: {named}. A fitting does not replace that."


def both_references_mm(saddle: Saddle, setback_mm: float) -> tuple[float | None, float | None]:
    """A setback as (nose, 80 mm width); None if the distance between the two on this saddle is unknown."""
    offset = saddle.nose_to_width_mm
    if saddle.reference == "nose":
        return setback_mm, None if offset is None else setback_mm + offset
    return (None if offset is None else setback_mm - offset), setback_mm
