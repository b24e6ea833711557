"""What a fitter writes down of a client in three minutes, before anything is measured.

Pydantic models, because the same shapes are read from a form, kept as JSON, and read again years later.
Scores are 0 to 10, 0 none. None: not asked.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from daq import text

Score = Annotated[int, Field(ge=0, le=10)]
Line = Annotated[text.Line, Field(max_length=200)]
Text = Annotated[text.Lines, Field(max_length=2000)]
# fmt: off
Place = Literal[
    "hands", "wrists", "elbows", "shoulders", "neck", "upper back", "lower back", "sit bones", "perineum",
    "hip", "hamstring", "knee front", "knee back", "calf", "ankle", "foot",
]
# fmt: on
Side = Literal["left", "right", "both"]
Reference = Literal["nose", "80 mm width"]
Hands = Literal["hoods", "tops", "drops", "flat bar", "extensions"]

RED_FLAGS: dict[str, str] = {
    "numb": "numbness that is still there hours after a ride",
    "weak": "weakness of a hand, a foot or a leg",
    "bladder": "a change of bladder, bowel or sexual function, or numbness between the legs off the bicycle",
    "night": "pain at night or at rest that does not let go",
    "chest": "chest pain, faintness or unusual breathlessness when riding",
    "fall": "a fall or injury of the last weeks that no clinician has seen",
}
"""Asked of every client. Common practice, no source."""


class Part(BaseModel):
    """One frozen piece of a form; unknown keys and numbers that are none are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Symptom(Part):
    """Where it hurts or goes numb, and how much."""

    place: Place
    side: Side = "both"
    score: Score


class Saddle(Part):
    """The client's saddle and where it is now. mm and degrees, setback behind the BB."""

    name: Line = ""
    reference: Reference
    """Which point every setback of this client is measured to."""
    nose_to_width_mm: Annotated[float, Field(ge=0, le=200)] | None = None
    """From the nose back to where the saddle is 80 mm wide; with it both figures can be given."""
    setback_mm: Annotated[float, Field(ge=-100, le=300)] | None = None
    height_mm: Annotated[float, Field(ge=400, le=1000)] | None = None
    """BB to the saddle's top along the seat tube."""
    tilt_deg: Annotated[float, Field(ge=-20, le=20)] | None = None
    """Nose up positive."""


class OwnBicycle(Part):
    """Enough of the client's own bicycle for its front-wheel share. Origin BB, x forward."""

    name: Line = ""
    wheelbase_mm: Annotated[float, Field(ge=700, le=2500)]
    chainstay_mm: Annotated[float, Field(ge=300, le=700)]
    bb_drop_mm: Annotated[float, Field(ge=-100, le=120)]
    wheel_radius_mm: Annotated[float, Field(ge=150, le=450)]
    mass_kg: Annotated[float, Field(ge=3, le=60)]
    com_x_mm: Annotated[float, Field(ge=-600, le=1200)] = 150.0
    """Centre of mass of the bicycle. Assumption where it was not balanced on a finger."""
    com_y_mm: Annotated[float, Field(ge=-300, le=1000)] = 200.0


class SeatPost(Part):
    """Where the client's own bicycle lets a saddle be put. mm and degrees."""

    seat_tube_deg: Annotated[float, Field(ge=60, le=85)] = 73.5
    post_offset_mm: Annotated[float, Field(ge=-60, le=80)] = 0.0
    """Clamp behind the middle of the post, square to it; 0 for a straight post."""
    clamp_below_saddle_mm: Annotated[float, Field(ge=0, le=150)] = 45.0
    """Saddle top over the middle of the rails. Assumption where it was not measured."""
    rails_front_mm: Annotated[float, Field(ge=0, le=300)]
    """From the point the setback is measured to, back to the foremost mark the clamp may grip at."""
    rails_rear_mm: Annotated[float, Field(ge=0, le=350)]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.rails_rear_mm <= self.rails_front_mm:
            raise ValueError("rails_rear_mm: expected more than rails_front_mm")
        return self


class Feel(Part):
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


class Intake(Part):
    """One client on one day."""

    mass_kg: Annotated[float, Field(ge=30, le=200)]
    """As ridden: clothes, shoes, bottles on the body."""
    goal: Text = ""
    riding: Line = ""
    hours_a_week: Annotated[float, Field(ge=0, le=60)] | None = None
    injuries: Text = ""
    symptoms: Annotated[tuple[Symptom, ...], Field(max_length=30)] = ()
    red_flags: tuple[Literal["numb", "weak", "bladder", "night", "chest", "fall"], ...] = ()
    saddle: Saddle
    shoes: Line = ""
    crank_mm: Annotated[float, Field(ge=100, le=200)] | None = None
    bar: Line = ""
    hands: Hands = "hoods"
    inseam_mm: Annotated[float, Field(ge=500, le=1100)] | None = None
    bicycle: OwnBicycle | None = None
    post: SeatPost | None = None
    feel: Feel = Feel()


def clinician_advice(intake: Intake) -> str:
    """The sentence for a client with a red flag; empty without one."""
    if not intake.red_flags:
        return ""
    named = "; ".join(RED_FLAGS[flag] for flag in intake.red_flags)
    return f"Advise the client to see a clinician before riding on: {named}. A fitting does not replace that."


def both_references_mm(saddle: Saddle, setback_mm: float) -> tuple[float | None, float | None]:
    """A setback as (nose, 80 mm width); None where the saddle's own distance between them is not known."""
    offset = saddle.nose_to_width_mm
    if saddle.reference == "nose":
        return setback_mm, None if offset is None else setback_mm + offset
    return (None if offset is None else setback_mm - offset), setback_mm
