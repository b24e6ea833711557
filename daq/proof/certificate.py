"""The result of a proof, as content for a page, a terminal or another program; and the tables for the rig file."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from daq.measure.calibration.status import months_later
from daq.proof.findings import PARTS
from daq.proof.proved import Bend, Proof
from daq.proof.trueness import budget
from daq.setback_scale import SetbackScale
from daq.values import Onset, Verdict
from daq.words import counted

MONTHS = 12
NOT_ACCREDITED = "This is a workshop's own proof and not an accredited test: no body has looked at it."
HOLDS = (
    "It holds for this jig as it was built: until a part, its place, its calibration or its scale changes, and for "
    f"{MONTHS} months."
)
OF_A_DUMMY = (
    "It shows what jig and estimator do with a mechanical dummy. A rider sways, settles and moves; what that adds is "
    "in the interval of each sweep and not in here."
)


def certificate(proof: Proof) -> dict[str, Any]:
    """The certificate: numbers, texts, lists and None only."""
    sheet, found = proof.sheet, proof.trueness
    return {
        "result": "proved" if proof.passed else "not proved",
        "statements": [
            *(["SIMULATED: no jig was there."] if sheet.simulated else []),
            NOT_ACCREDITED,
            *([HOLDS] if proof.passed else []),
            OF_A_DUMMY,
        ],
        "reasons": list(proof.failed),
        "made_by": sheet.made_by,
        "place": sheet.place,
        "made_utc": sheet.begun_utc,
        "valid_until_utc": valid_until_utc(sheet.begun_utc) if proof.passed else None,
        "jig": sheet.rig,
        "parts": sheet.parts,
        "consists_of": list(sheet.consists_of),
        "scale": _scaled(proof.scale),
        "calibration": sheet.calibration,
        "dummy": sheet.dummy.model_dump(),
        "bias_mm": float(found.bias_mm),
        "expanded_mm": proof.expanded_mm,
        "repeatability_mm": float(found.repeatability_mm),
        "between_placements_mm": float(found.between_mm),
        "intervals_held": sum(one.held for one in proof.answers),
        "sweeps": len(proof.answers),
        "smallest_rise_n_per_mm": proof.smallest_rise_n_per_mm,
        "flat": _called(proof.flat, Verdict.LIGHT),
        "loaded": _called(proof.loaded, Verdict.LOADED),
        "gradual": None if proof.gradual is None else _bent(proof.gradual),
        "answers": [
            {
                "placement": one.placement,
                "attitude": one.attitude,
                "dummy_mm": one.truth_mm,
                "verdict": str(one.onset.verdict),
                "onset_mm": one.onset.onset_mm,
                "interval_95_mm": None if one.onset.interval_95_mm is None else list(one.onset.interval_95_mm),
                "error_mm": one.error_mm,
                "held": one.held,
            }
            for one in proof.answers
        ],
        "budget": [
            {"source": source, "standard_uncertainty_mm": u, "degrees_of_freedom": dof, "distribution": shape}
            for source, (u, dof, shape) in budget(found, sheet.dummy.u_datum_mm)
        ],
        "figures": [{"part": PARTS[one.part].name, "shown": one.shown, "named": one.named} for one in proof.findings],
        "readings": len(sheet.readings),
    }


def _called(answer: Onset, expected: Verdict) -> str:
    """The verdict, and why it is not the expected one."""
    called = str(answer.verdict).replace("-", " ")
    return called if answer.verdict is expected else "; ".join([called, *answer.reasons[:1]])


def _bent(gradual: Bend) -> str:
    answer = gradual.onset
    at = "" if answer.onset_mm is None else f" at {answer.onset_mm:.1f} mm"
    called = ", called gradual" if answer.gradual else ", not called gradual"
    return f"{answer.verdict}{at}{called}; the plates are met from {gradual.rear_mm:.1f} to {gradual.front_mm:.1f} mm"


def _scaled(scale: SetbackScale) -> str:
    at_mm = scale.middle_mm
    return (
        f"at {at_mm:g} mm the saddle is {scale.offset_mm:+z.2f} mm from its mark, standard uncertainty "
        f"{scale.u_mm(at_mm):.2f} mm; play {scale.backlash_mm:+z.2f} mm; mark {scale.mark}"
    )


def valid_until_utc(made_utc: str) -> str:
    """A proof's last moment."""
    return months_later(datetime.fromisoformat(made_utc), MONTHS).isoformat()


def lines(content: dict[str, Any]) -> list[str]:
    """The certificate as text for a terminal."""
    return [
        f"{content['jig']}: {content['result']}",
        *content["statements"],
        *_of_what(content),
        *facts(content),
        *_budgeted(content),
        *(f"  {one['part']}: {one['shown']}{'  NAMED' if one['named'] else ''}" for one in content["figures"]),
        *(f"  - {reason}" for reason in content["reasons"]),
        ", ".join(filter(None, (f"by {content['made_by']}", content["place"], content["made_utc"])))
        + (f"; valid to {content['valid_until_utc'][:10]}" if content["valid_until_utc"] else ""),
    ]


def _of_what(content: dict[str, Any]) -> list[str]:
    """Jig and dummy, as the page says them."""
    dummy = content["dummy"]
    rate, u_rate = dummy["rate_n_per_mm"], dummy["u_rate_n_per_mm"]
    return [
        f"parts: {', '.join([*content['consists_of'], 'mark ' + content['parts']])}",
        f"setback scale: {content['scale']}",
        f"calibration: {content['calibration']}",
        f"dummy: {dummy['name']}, {rate:.3f} N/mm, standard uncertainty {u_rate:.2g}",
    ]


def _budgeted(content: dict[str, Any]) -> list[str]:
    """The budget of the bias, a line each."""
    return [
        f"  {one['source']}: standard uncertainty {one['standard_uncertainty_mm']:.3f} mm, {one['distribution']}"
        + (
            ""
            if one["degrees_of_freedom"] is None
            else f", {counted(round(one['degrees_of_freedom']), 'degree')} of freedom"
        )
        for one in content["budget"]
    ]


def facts(content: dict[str, Any]) -> list[str]:
    """What was found of the onsets, a sentence each."""
    smallest = content["smallest_rise_n_per_mm"]
    return [
        f"bias {content['bias_mm']:+z.2f} ± {content['expanded_mm']:.2f} mm (95 %); repeatability "
        f"{content['repeatability_mm']:.2f} mm, between placements {content['between_placements_mm']:.2f} mm more",
        f"{content['intervals_held']} of {content['sweeps']} intervals of 95 % hold the dummy's onset",
        "smallest rise found in this scatter: "
        + ("none of those tried" if smallest is None else f"{smallest:.2f} N/mm"),
        f"nothing pulls: {content['flat']}; pulls throughout: {content['loaded']}",
        *([] if content["gradual"] is None else [f"gradual rise: {content['gradual']}"]),
    ]


def rig_tables(proof: Proof) -> str:
    """[setback_scale] and [proof] as they go into the rig file."""
    content = certificate(proof)
    return f"{scale_table(proof.scale, content['made_utc'], content['made_by'])}\n" + "\n".join(
        [
            "[proof]",
            f'made_utc = "{content["made_utc"]}"',
            f"made_by = {_text(content['made_by'])}",
            f"passed = {'true' if proof.passed else 'false'}",
            f"bias_mm = {content['bias_mm']:.3f}",
            f"expanded_mm = {content['expanded_mm']:.3f}",
            f'parts = "{content["parts"]}"',
            f'scale = "{proof.scale.mark}"',
            f"simulated = {'true' if proof.sheet.simulated else 'false'}",
        ]
    )


def scale_table(scale: SetbackScale, checked_utc: str, checked_by: str) -> str:
    """[setback_scale] of a rig file."""
    head = ["[setback_scale]", f'checked_utc = "{checked_utc}"', f"checked_by = {_text(checked_by)}"]
    return "\n".join([*head, *scale.printed]) + "\n"


def _text(value: str) -> str:
    """As a TOML basic string."""
    escaped = value.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
