"""What speaks for a saddle further forward and what for one further back, the client's own complaint first. The fitter
weighs it; it is never summed. Complaints are used for both directions alike; anything not asked or not ridden is listed
with where to make up for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from daq.fit.intake import Feel, Intake, Symptom
from daq.fit.sign import Sign, Stands

COMPLAINT = 3
"""A complaint of at least this score out of 10 counts. Common practice, no source."""


class Way(StrEnum):
    """Which way a saddle may have to go."""

    FORWARD = "forward"
    BACK = "back"


@dataclass(frozen=True, slots=True)
class Leaning:
    """One piece of evidence for a direction."""

    way: Way
    title: str
    number: str
    why: str
    complaint: bool
    """Whether the client said it."""


@dataclass(frozen=True, slots=True)
class NotSeen:
    """Evidence that is missing: not asked, or not ridden."""

    what: str
    cure: str
    """How to fill it: ask the client, ride a climb, enter the client's bicycle."""


PLACES: dict[str, tuple[Way, str]] = {
    "hands": (Way.BACK, "hands that carry much weight"),
    "thumb side": (Way.BACK, "hands that carry much weight"),
    "little finger side": (Way.BACK, "hands that carry much weight"),
    "wrists": (Way.BACK, "hands that carry much weight"),
    "elbows": (Way.BACK, "arms that carry much weight"),
    "shoulders": (Way.BACK, "arms that carry much weight; or a bar too far or too low"),
    "neck": (Way.BACK, "a trunk held up by the arms; or a bar too low"),
    "thigh front": (Way.BACK, "the front of the leg works more as the saddle comes forward"),
    "knee front": (Way.BACK, "the knee bends more as the saddle comes forward; or a saddle too low"),
    "hamstring": (Way.FORWARD, "the back of the leg works more as the saddle goes back; or a saddle too high"),
    "knee back": (Way.FORWARD, "the leg reaches further as the saddle goes back; or a saddle too high"),
    "calf": (Way.FORWARD, "the back of the leg works more as the saddle goes back; or a saddle too high"),
    "lower back": (Way.FORWARD, "a pelvis rolled back to reach the pedals; or a bar too far"),
}
"""Which way a complaint may point, and why. Common practice, no source; other causes have to be excluded first."""

_FEEL = {
    "over_the_top": (Way.FORWARD, "Pushing over the top is hard work"),
    "choppy_climbing": (Way.FORWARD, "Stroke dies at the bottom on climbs"),
    "hamstrings_calves": (Way.FORWARD, "Tired hamstrings and calves"),
    "creeping_forward": (Way.FORWARD, "Creeps forward on the saddle"),
    "front_light": (Way.FORWARD, "Front wheel light on climbs"),
    "quadriceps": (Way.BACK, "Tired quadriceps"),
}
MUCH = 6
"""A score from which a rider's word counts. Common practice, no source."""
_FORWARD = {"Hands too light": "Hands as light further forward", "Front wheel light": "Front wheel light"}
_BACK = {"Hands too light": "Hands already carry more"}
_MEASURED = ("Push over the top, by torque", "Dead centres, by the loads", "Stroke at 4–5 %, by the loads")


def leanings(intake: Intake, signs: Sequence[Sign], *, too_far_forward: bool) -> tuple[Leaning, ...]:
    """All evidence, for either direction; complaints first, the worst before the others.

    too_far_forward: whether the present place was found forward of the onset.
    """
    hurt = [one for one in sorted(intake.symptoms, key=lambda one: -one.score) if one.score >= COMPLAINT]
    found = [_complaint(one) for one in hurt if one.place in PLACES]
    found += _felt(intake.feel)
    found += [one for sign in signs if (one := _measured(sign, too_far_forward)) is not None]
    return tuple(found)


def not_seen(intake: Intake, signs: Sequence[Sign], *, climbed: bool) -> tuple[NotSeen, ...]:
    """What was not asked or not ridden."""
    found = [NotSeen(words.lower(), "ask") for name, (_, words) in _FEEL.items() if getattr(intake.feel, name) is None]
    if not climbed:
        found.append(NotSeen("a climb", "ride"))
    bicycle = intake.bicycle
    if bicycle is None or bicycle.wheelbase_mm is None or bicycle.chainstay_mm is None:
        found.append(NotSeen("front-wheel share of the own bicycle", "enter"))
    if any(sign.title == "Hands too light" and sign.why.startswith("needs") for sign in signs):
        found.append(NotSeen("a level sweep from the present setback", "ride"))
    return tuple(found)


def _complaint(one: Symptom) -> Leaning:
    way, why = PLACES[one.place]
    side = "both sides" if one.side == "both" else one.side
    return Leaning(way, f"{one.place.capitalize()}, {side}", f"complaint, {one.score} of 10", why, complaint=True)


def _felt(feel: Feel) -> list[Leaning]:
    said = {name: getattr(feel, name) for name in _FEEL}
    return [
        Leaning(_FEEL[name][0], _FEEL[name][1], f"complaint, {score} of 10", "the client's word", complaint=True)
        for name, score in sorted(said.items(), key=lambda item: -(item[1] or 0))
        if score is not None and score >= MUCH
    ]


def _measured(sign: Sign, too_far_forward: bool) -> Leaning | None:
    """A sign the jig has seen; signs that rest on the client's word are already among the complaints."""
    if sign.number.startswith("rider says"):
        return None
    if sign.stands is Stands.FOR and (sign.title in _FORWARD or sign.title in _MEASURED):
        return Leaning(Way.FORWARD, _FORWARD.get(sign.title, sign.title), sign.number, sign.why, complaint=False)
    if sign.stands is Stands.AGAINST and sign.title in _BACK and too_far_forward:
        return Leaning(Way.BACK, _BACK[sign.title], sign.number, sign.why, complaint=False)
    return None
