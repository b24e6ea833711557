"""What the pipeline needs to know about one jig: its rig file and its board's hello, in the form the stages take."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Literal

from daq.measure.balance import FEET_UNSEEN, UnseenHands
from daq.measure.cell_checks import CheckedCell
from daq.measure.clock import CLOCK_RULES
from daq.measure.positions import Positions, PositionSensor
from daq.measure.weight_line import Levers, weight_line_mm
from daq.rig import NORMAL, POSITION_FIELDS, Rig
from daq.sweep.plan import Plan
from daq.sweep.progress import SweepProgress
from daq.sweep.setting import JigRange
from daq.sweep.typed.progress import Display, TypedProgress
from daq.sweep.validity.conditions import Conditions
from daq.values import Array, StepMean
from daq.wire.board import ChannelKind

Board = Mapping[str, Any]
"""A board's hello as it is stored: board_id and channels, each with name, kind, bits and gain."""


def cells_of(rig: Rig, board: Board) -> tuple[CheckedCell, ...]:
    """The force channels in the order of Loads.cells_n, as the checks of cells need them: their columns, and the range
    of their converters. None when the board lacks one of the rig's channels, or does not describe them."""
    said = {channel["name"]: (i, channel) for i, channel in enumerate(board["channels"])}
    if any(channel.name not in said for channel in rig.channels):
        return ()
    found = []
    for wanted in (rig.channels[i] for i in rig.force_columns):
        column, channel = said[wanted.name]
        if "kind" not in channel or "bits" not in channel:
            return ()
        role: Literal["hands", "saddle"] = "hands" if wanted.role.startswith("hands") else "saddle"
        raw, normal = channel["kind"] == ChannelKind.BRIDGE, wanted.role in NORMAL
        found.append(CheckedCell(wanted.name, column, role, channel["bits"], raw, wanted.capacity_n, normal))
    return tuple(found)


def places_of(rig: Rig, role: str) -> tuple[tuple[int, float | None], ...]:
    """(column of cells_n, x_mm) of each cell of this role."""
    force = enumerate(rig.force_columns)
    return tuple((i, rig.channels[at].x_mm) for i, at in force if rig.channels[at].role == role)


def levers_of(rig: Rig) -> Levers:
    """Where the contacts are; no saddle cells unless the position of each is known."""
    at, saddle = rig.geometry, places_of(rig, "saddle")
    known = tuple((column, x_mm) for column, x_mm in saddle if x_mm is not None)
    return Levers(
        at.bar_x_m,
        at.bar_y_m,
        at.saddle_y_m,
        saddle_cells=known if len(known) == len(saddle) else (),
        hands_tangential=tuple(column for column, _ in places_of(rig, "hands tangential")),
        saddle_tangential=tuple(column for column, _ in places_of(rig, "saddle tangential")),
    )


def otherwise(rig: Rig, before: Board | None, now: Board) -> str:
    """What differs on the board from before, or from what the rig file asks; empty when nothing does."""
    if before is not None and now.get("board_id") != before.get("board_id"):
        return f"another board, {now.get('board_id')}, is connected: its converters were not calibrated"
    asked = {channel.name: channel.gain for channel in rig.channels if channel.gain is not None}
    known = {} if before is None else {channel["name"]: channel for channel in before["channels"]}
    for channel in now["channels"]:
        name, was = channel["name"], known.get(channel["name"], channel)
        for what in ("kind", "bits", "gain", "units_per_count"):
            if channel.get(what) != was.get(what):
                return f"{what} of {name} is {channel.get(what)}, it was {was.get(what)} when the sweep began"
        if name in asked and channel.get("gain", asked[name]) != asked[name]:
            return f"the gain of {name} is {channel['gain']}, the rig file asks for {asked[name]}"
    return ""


def positions_of(rig: Rig, channels: Sequence[str]) -> Positions:
    """The rig's position sensors among these channels of its board; any the board lacks are not read."""
    return Positions(
        [
            PositionSensor(each.name, POSITION_FIELDS[each.role], channels.index(each.name), *each.line, each.u_mm)
            for each in rig.positions
            if each.name in channels
        ]
    )


def range_of(rig: Rig) -> JigRange:
    """What this jig can be set to."""
    at = rig.geometry
    return JigRange(
        setback_mm=(at.setback_min_mm, at.setback_max_mm),
        saddle_height_mm=(at.saddle_height_min_mm, at.saddle_height_max_mm),
        bar_y_mm=(at.bar_y_min_mm, at.bar_y_max_mm),
        reach_mm=(at.reach_min_mm, at.reach_max_mm),
    )


def display_of(rig: Rig) -> Display | None:
    """How the readings of a rig without a board are taken; None of any other."""
    typed = rig.typed
    if typed is None:
        return None
    return Display(
        newtons_per_unit=typed.newtons(typed.hands_per_scale),
        half_n=0.5 * typed.step * typed.newtons(typed.hands_per_scale),
        readings=typed.readings,
        damping_s=typed.damping_s,
        saddle_newtons_per_unit=typed.newtons(typed.saddle_per_scale) if rig.columns("saddle") else 0.0,
        effort=typed.effort,
    )


def progress_of(rig: Rig, plan: Plan, completed: Callable[[StepMean], StepMean]) -> SweepProgress:
    """A sweep of this plan on this jig. completed: as of SweepProgress."""
    resolution_mm, display = rig.geometry.setback_resolution_mm, display_of(rig)
    if display is not None:
        return TypedProgress(plan, display, jig=range_of(rig), resolution_mm=resolution_mm, completed=completed)
    return SweepProgress(plan, jig=range_of(rig), resolution_mm=resolution_mm, completed=completed)


def unseen_of(rig: Rig) -> UnseenHands:
    """What is taken of the hands' force along this jig where its cells do not measure it."""
    told = rig.unseen
    if told is None:
        return UnseenHands()
    return UnseenHands(told.hands_tangential_n, told.hands_tangential_u_n, told.source)


def along_said(rig: Rig) -> str:
    """What a weight line on this jig takes of the forces along it; empty where cells measure both."""
    if rig.columns("saddle tangential"):
        return ""
    return FEET_UNSEEN if rig.columns("hands tangential") else unseen_of(rig).said


def bar_goes_from_mm(plan: Plan) -> float | None:
    """The setback from which the bar moves along with the saddle; None where the plan leaves it in its place."""
    return plan.reference_setback_mm if plan.protocol == "reach kept" else None


def weight_line_of(step: StepMean, rig: Rig, plan: Plan, mass_kg: float | None) -> tuple[float, float]:
    """Where the rider's weight line crosses the jig's x axis at this step, mm forward of the BB, and its standard
    uncertainty; NaN where the jig or the rider's data do not determine it. The bar is where it was set, otherwise where
    the plan puts it."""
    return weight_line_mm(
        step,
        levers_of(rig),
        mass_kg=mass_kg,
        g_m_s2=rig.g_m_s2,
        gradient_pct=plan.gradient_pct,
        bar_goes_from_mm=bar_goes_from_mm(plan),
        unseen=unseen_of(rig),
    )


def conditions_of(rig: Rig, plan: Plan, begun: Mapping[str, Any], *, watched: bool) -> Conditions:
    """What is known about a sweep when it begins. begun: the content of the event that begins it."""
    standing = begun.get("calibration")
    return Conditions(
        calibrated=standing is not None,
        calibration_doubt="" if standing is None or standing["allows_verdict"] else standing["sentence"],
        calibration_id="" if standing is None else standing.get("id", ""),
        mass_kg=begun["mass_kg"],
        g_m_s2=rig.g_m_s2,
        watched=watched and rig.typed is None,
        effort_held=f"{plan.power_w:g} W by the trainer" if rig.typed and rig.typed.effort == "held" else "",
        torque_expected=True,
        dummy=begun.get("dummy", False),
        order=plan.order,
        protocol=plan.protocol,
        drop=plan.drop,
        blinded=plan.blinded,
        habitual_setback_mm=begun.get("habitual_setback_mm"),
        saddle_cells=levers_of(rig).saddle_cells,
        hand_cells=tuple(column for column, _ in places_of(rig, "hands")),
        hands_along=along_said(rig),
        scale=rig.setback_scale,
        jig_said=(scale_said(rig), *([begun["proof"]] if "proof" in begun else [])),
    )


def scale_said(rig: Rig) -> str:
    """How the setback scale stands, in a few words."""
    scale = rig.setback_scale
    if scale is None:
        return "setback scale not checked"
    at_mm, off_mm = scale.middle_mm, scale.offset_mm
    return (
        f"setback scale checked {scale.checked_utc[:10]}: at {at_mm:g} mm the saddle is {off_mm:+z.1f} mm from its "
        f"mark, standard uncertainty {scale.u_mm(at_mm):.1f} mm, which is in the interval"
    )


def beginning(
    plan: Plan,
    *,
    mass_kg: float | None,
    channels: Sequence[str],
    zero_counts: Array | None,
    calibration: Mapping[str, Any] | None = None,
    board: Board | None = None,
    habitual_setback_mm: float | None = None,
    dummy: bool = False,
    proof: str | None = None,
) -> dict[str, Any]:
    """The content of the event that begins a sweep: all it depends on beside rig and calibration.

    calibration: how it stands now. One that may not be trusted forbids the verdict; it is not judged again later.
    board: its hello, without which its cells are not watched. habitual_setback_mm: where the client's saddle stands
    outside the jig. dummy: weights or a machine ride. proof: how the jig's stands now, in a few words.
    """
    zero = None if zero_counts is None else zero_counts.tolist()
    content: dict[str, Any] = {"plan": asdict(plan), "mass_kg": mass_kg, "channels": list(channels)}
    content |= {"zero_counts": zero, "habitual_setback_mm": habitual_setback_mm, "dummy": dummy, "clock": CLOCK_RULES}
    for name, said in (("calibration", calibration), ("board", board)):
        content |= {} if said is None else {name: dict(said)}
    content |= {} if proof is None else {"proof": proof}
    return content
