"""How commands print: results on standard output, progress and errors on standard error, exit codes in one place.
Everything goes through `say`: names, notes, file names and what a device sent come from elsewhere, and a terminal obeys
the escape sequences in them. tests/cli/test_terminal.py checks that no command prints directly.
"""

from __future__ import annotations

import json
import math
import sys
from typing import Any, NoReturn

import click

from daq.text import visible, visible_line
from daq.values import Onset, Result, StepMean, Verdict
from daq.words import counted

REFUSED, MISSING, UNUSABLE, KEYBOARD = 2, 3, 4, 130
VERDICTS = {Verdict.RISE_SEEN: "rise seen, effort not measured"}
"""Verdicts whose printed words differ from the stored ones."""
LONGEST_SENTENCE = 4000
"""A refusal may quote the input; nobody reads a million characters of it."""
json_flag = click.option("--json", "as_json", is_flag=True, help="The result as JSON.")


def say(text: str, *, err: bool = False, end: str = "\n") -> None:
    """Print text on standard output or standard error, with anything that would control the terminal made visible."""
    click.echo(visible(text) + end, err=err, nl=False)


def overwrite(text: str) -> None:
    """A line on standard error that the next one overwrites; nothing if it is not a terminal."""
    if sys.stderr.isatty():
        click.echo(f"\r{visible_line(text):110.110}", err=True, nl=False)


def draw_code(link: str, *, err: bool) -> None:
    """A QR code, if the output is a terminal; its escape sequences come from the library, and the link only sets its
    modules."""
    import segno

    stream = sys.stderr if err else sys.stdout
    if stream.isatty():
        segno.make(link, error="l").terminal(stream, compact=True)


def fail(code: int, error: object) -> NoReturn:
    """One clear sentence on standard error, then the exit code."""
    text = str(error)
    say(f"foreaft: {text if len(text) <= LONGEST_SENTENCE else text[:LONGEST_SENTENCE] + ' ...'}", err=True)
    raise SystemExit(code)


def print_json(content: Any) -> None:
    """A result as JSON on standard output."""
    say(json.dumps(content, indent=1, allow_nan=False))


def tell(text: str) -> None:
    """A line of progress."""
    say(text, err=True)


def step_line(step: StepMean, done: int, planned: int) -> str:
    """A finished step in one line; u is the standard uncertainty of where the saddle was."""
    saddle = "not measured" if math.isnan(step.saddle_load_n) else f"{step.saddle_load_n:6.1f} N"
    torque = "torque unknown" if step.crank_torque_nm != step.crank_torque_nm else f"{step.crank_torque_nm:.1f} N m"
    placed = "" if math.isnan(step.u_setback_mm) else f" (u {step.u_setback_mm:.1f})"
    return (
        f"  step {done:2d}/{planned}   {step.setback_mm:5.1f} mm{placed}   hands {step.hand_load_n:6.1f} N   "
        f"saddle {saddle}   {torque}   {counted(len(step.strokes), 'stroke')}"
    )


def answer_lines(answer: Onset) -> list[str]:
    """An answer in readable form."""
    lines = [f"verdict: {VERDICTS.get(answer.verdict, answer.verdict)}" + (" (gradual)" if answer.gradual else "")]
    lines += [f"evidence: {answer.grade}"] if answer.grade else []
    if answer.onset_mm is not None and answer.interval_95_mm is not None:
        low, high = answer.interval_95_mm
        lines.append(f"onset: {answer.onset_mm:.1f} mm behind the BB, 95 % interval {low:.1f} to {high:.1f} mm")
    lines += [f"caution: {answer.caution}"] if answer.caution else []
    if answer.suggested_setback_mm is not None:
        lines.append(f"suggested setback: {answer.suggested_setback_mm:.1f} mm; the fitter decides")
    lines += [f"{'then' if i else 'to do'}: {cure}" for i, cure in enumerate(answer.cures)]
    reasons = [f"  - {reason}" for reason in answer.reasons if reason != answer.caution]
    return lines + reasons + validity_lines(answer)


def validity_lines(answer: Onset) -> list[str]:
    """The tests of validity that failed or were not made, with their remedies."""
    open_ones = [one for one in answer.validity if one.result is not Result.PASSED]
    if not open_ones:
        return []
    made = sum(one.result is not Result.NOT_MADE for one in answer.validity)
    lines = [f"validity: {made} of {counted(len(answer.validity), 'test')} made"]
    for one in open_ones:
        lines += [f"  {one.result}: {one.test}: {one.means}", *([f"    cure: {one.cure}"] if one.cure else [])]
    return lines
