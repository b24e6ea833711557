"""The page the client takes home, made of a case that was put together by hand."""

import dataclasses
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

from daq.fit.case import evidence_of
from daq.fit.days import days
from daq.fit.days_words import said_of
from daq.fit.step_notes import PainTold
from daq.keep.again.report import printed
from daq.keep.again.report_drawings import LEFT, RIGHT
from daq.keep.again.strip_drawing import strip_drawing
from daq.sweep.panel import Entry
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.judged import judged
from daq.sweep.workshop import taught
from daq.values import NAN, Likelihood
from tests.fit.sweeps import INTAKE, ridden
from tests.keep.again.cases import CASE, DECISION
from tests.sweep.panels import normal, told


def page(**changes):
    case = dataclasses.replace(CASE, **changes)
    return printed(case, evidence_of(case))


class Words(HTMLParser):
    """What a reader sees."""

    def __init__(self):
        super().__init__()
        self.words = []

    def handle_data(self, data):
        self.words.append(data)


def words(html):
    reader = Words()
    reader.feed(html)
    return " ".join(" ".join(reader.words).split())


def test_pain_while_riding_is_on_the_sheet_in_words_and_on_its_chart():
    pain = PainTold(45.0, "knee front", "right", 5, None)
    html = page(sweeps=(dataclasses.replace(CASE.sweeps[0], pains=(pain,)), *CASE.sweeps[1:]))

    assert "Pain or numbness while riding: knee front, right, 5 of 10, at 45 mm." in words(html)
    assert html.count('class="pain"') == 1
    assert 'class="pain"' not in page()


def test_pain_at_a_place_where_no_step_was_finished_lies_within_the_drawing():
    html = page(sweeps=(dataclasses.replace(CASE.sweeps[0], pains=(PainTold(5.0, "hands", "left", 7, None),)),))
    (at,) = re.findall(r'class="pain" d="M([-\d.]+),', html)

    assert LEFT <= float(at) <= RIGHT


def test_setback_stands_in_both_references_and_against_gravity():
    # 58 mm at the nose, 75 mm to the 80 mm width; height 724 mm along 73.5 deg is 694 mm over the BB, times
    # sin(atan 0.045) = 0.0450 is 31 mm on the climb.
    said = words(page())

    assert "Setback, nose to BB 58 mm · was 78" in said
    assert "At the 80 mm width: 133 mm, was 153." in said
    assert "Against gravity on a 4.5 % climb: 89 mm" in said
    assert "Saddle height, BB to top 724 mm" in said


def test_the_page_says_what_a_later_reader_needs():
    said = words(page())

    for needed in (
        "R-ABC234",
        "25 November 2026",
        "method hinge-posterior",
        "calibration c-2026-11",
        "from 16 December 2026 Re-check",
        "Decided by B. Fitter",
        "Reason: rider <cannot> step off",
        "not a target for going back",
        "reach kept, leg extension kept, out and back",
    ):
        assert needed in said, needed


def test_a_first_visit_is_visit_1_whatever_its_number_in_the_store():
    assert "visit 1 ·" in words(page())
    assert "visit 2 ·" in words(page(nth=2))


def test_the_weight_on_the_front_wheel_stands_with_what_it_assumes_of_the_hands():
    said = words(page())

    assert "weight on the front wheel, %:" in said
    assert said.count("The hands' force along the jig is not measured: taken as 0 ± 20 N") == 1


def test_the_stages_are_boxes_to_tick_each_with_day_setback_height_and_bar():
    swept = ridden(start_setback_mm=78.0, start_height_mm=722.0)
    said = words(page(sweeps=(swept,), decision=DECISION.model_copy(update={"height_mm": None})))

    assert "25 November 2026 73 mm height 724 bar 545" in said
    assert "16 December 2026 58 mm height 728 bar 560" in said, "as ridden with the leg's extension kept"
    assert page().count("<i></i>") == 5


def test_a_height_other_than_the_one_ridden_is_said_before_anything_else():
    swept = ridden(start_setback_mm=78.0, start_height_mm=722.0)
    said = words(page(sweeps=(swept,), decision=DECISION.model_copy(update={"height_mm": 722.0})))

    assert "Take with care Saddle height 722 mm was decided, 728 mm was ridden at 58 mm" in said


def test_the_strip_is_true_to_size():
    html = page()
    (width, height) = re.search(r'class="strip" viewBox="0 0 (\S+) (\S+)"', html).groups()
    css = (Path(__file__).parents[3] / "dashboard/report.css").read_text()
    assert f".strip {{ width: {width}mm; height: {height}mm; max-width: none; }}" in css
    was, new = (float(re.search(rf'class="{name}" d="M([\d.]+),', html)[1]) for name in ("was", "new"))
    assert new - was == pytest.approx(20.0), "from 78 to 58 mm, the front on the right"
    gauge = re.search(r'class="gauge" d="M[\d.]+,19v4M[\d.]+,21h([\d.]+)M', html)[1]
    assert float(gauge) == 100.0


def test_a_change_longer_than_the_strip_with_its_words_is_not_drawn_on_it():
    assert strip_drawing(180.0, 45.0) is not None
    assert strip_drawing(180.0, 40.0) is None


def test_without_a_place_before_there_is_no_strip():
    unknown = INTAKE.model_copy(update={"saddle": INTAKE.saddle.model_copy(update={"setback_mm": None})})

    assert "Hold this strip" in page()
    assert "Hold this strip" not in page(intake=unknown)


def test_a_red_flag_gone_on_with_is_printed_with_its_reason():
    flagged = INTAKE.model_copy(update={"red_flags": ("night",), "flag_reason": "seen by her doctor in May"})

    assert "see a clinician" in words(page(intake=flagged))
    assert "Gone on all the same: seen by her doctor in May." in words(page(intake=flagged))


def test_what_was_typed_is_text_and_never_markup():
    html = page()

    assert "hands stay light &lt;to&gt; 55 mm" in html
    assert "<to>" not in html
    assert "two mm &amp; a half" in html
    assert "style=" not in html
    assert not re.search(r"<script(?![^>]*src=)", html)


def test_a_sweep_named_with_markup_stays_a_name():
    html = page(sweeps=(ridden(label="<b>before</b>"),))

    assert "<b>before" not in html
    assert "&lt;b&gt;before" in html


def test_the_drawings_are_well_formed_and_named_for_who_does_not_see_them():
    drawings = re.findall(r"<svg.*?</svg>", page(), re.DOTALL)

    assert len(drawings) == 2
    for drawing in drawings:
        assert ElementTree.fromstring(drawing).find("title").text


def test_all_sweeps_lie_over_each_other_each_with_its_own_mark():
    html = page(
        sweeps=(ridden(label="saddle A"), ridden(lambda mm: 90.0 + 1.5 * max(45.0 - mm, 0.0), label="saddle B"))
    )

    assert "Hand load against setback: saddle A, saddle B" in html
    assert len(set(re.findall(r'class="mark"[^>]* d="([^"]+)"', html))) == 2


def test_another_day_the_chances_and_what_changed_stand_beside_today():
    """Of made-up tests: onsets at 61 and then 52 mm, each placed to 2 mm."""
    tests = told([Entry("R", f"2026-{month:02}-14", normal(mm, 2.0)) for month, mm in ((9, 61.0), (10, 52.0))])
    foretold = days(taught(tests), "s1")
    said = words(printed(CASE, evidence_of(CASE), None, foretold))
    front, rear = foretold.another_day_mm
    chance = foretold.chances_at(58.0)

    assert "Today the hands begin to carry more between 48 and 56 mm." in said
    assert f"On another day the hands begin to carry more between {front:.0f} and {rear:.0f} mm." in said
    assert (
        f"at 58 mm they already carry more: today under 1 %, on another day {100 * chance.another_day:.0f} %." in said
    )
    assert "Onset against the test of 14 September 2026: 9 mm further forward, 95 % \N{MINUS SIGN}" in said
    assert f"differ by up to {foretold.moved[0].detectable_mm:.0f} mm: no change shown." in said
    assert "is mostly judgement" in said
    assert "On another day" not in words(page())


def test_an_end_that_is_not_known_is_said_so():
    """Light to the foremost position: on no day is it known how far forward the onset lies."""
    light = Likelihood(80.0, 1.0, (-8.0,) * 51, 0.0, -20.0)
    foretold = days(taught(told([Entry("R", "2026-09-14", light)])), "s0")

    assert "On another day the hands begin to carry more forward of" in said_of(foretold, None)[0]
    assert "None" not in " ".join(said_of(foretold, 58.0))


def judged_as(conditions):
    swept = ridden(label="before")
    return page(sweeps=(dataclasses.replace(swept, onset=judged(swept.onset, swept.steps, conditions)),))


def first_page(html):
    """What stands beside the number, without the table of the tests."""
    return words(html).partition("Page 2: tests")[0]


def test_without_a_sham_the_caution_stands_beside_the_onset_of_a_rider_who_knew_the_setback():
    beside = first_page(judged_as(Conditions(blinded=False))).rpartition("95 % interval ")[2]

    assert re.match(r"[\d.]+ to [\d.]+ mm\. Sham not ridden: a rise can also come from expectation ", beside)
    assert beside.lower().count("sham") == 2, "the finding and the cure, once"
    blinded = first_page(judged_as(Conditions(blinded=True))).rpartition("95 % interval ")[2]
    assert "expectation" not in blinded
    assert "sham not ridden" in blinded.partition("Not tested: ")[2]


def test_the_sheet_says_what_to_do_first_where_no_onset_is_named():
    found = words(judged_as(Conditions(calibration_doubt="it is older than 12 months")))

    assert "No onset is named: it is undecided. To do first: Calibrate, or check with a weight; the loads" in found


def test_the_sheet_names_what_was_not_tested():
    not_tested = words(judged_as(Conditions())).partition("Not tested: ")[2].partition(".")[0]

    for what in ("hips not measured", "reach not confirmed", "visits not compared"):
        assert what in not_tested


def test_a_simulated_page_forbids_to_set_a_bicycle_by_it():
    assert "SIMULATED" in page(simulated=True)
    assert "SIMULATED" not in page()


@pytest.mark.parametrize("load_n", [lambda mm: 80.0, lambda mm: 80.0 + 1.5 * (90.0 - mm)])
def test_without_an_onset_no_window_is_printed(load_n):
    said = words(page(sweeps=(ridden(load_n),), decision=None))

    assert "No onset is named" in said
    assert "to choose from" not in said
    assert "uggested" not in said
    assert "Not decided yet." in said


def test_the_suggested_setback_stands_with_its_meaning_and_the_window_that_begins_there():
    evidence = evidence_of(CASE)
    front_mm, rear_mm = evidence.window_mm
    html = page()

    assert f"Suggested: {front_mm:.0f} mm , to choose from {front_mm:.0f} to {rear_mm:.0f} mm: a limit" in words(html)
    assert evidence.suggested.said in words(html)
    assert html.count('class="window"') == 1
    assert f"58 mm lies {front_mm - 58:.0f} mm forward of the window" in words(html)


def test_where_the_window_is_one_place_it_can_be_seen_in_the_drawing():
    (swept,) = CASE.sweeps
    html = page(sweeps=(dataclasses.replace(swept, onset=dataclasses.replace(swept.onset, suggested_setback_mm=80.0)),))

    assert "to choose from 80 mm:" in words(html)
    assert re.search(r'class="window" d="M([\d.]+),96V102H\1V96"', html)


def test_an_onset_without_a_suggestion_has_a_sheet_that_says_why():
    (swept,) = CASE.sweeps
    html = page(sweeps=(dataclasses.replace(swept, onset=dataclasses.replace(swept.onset, suggested_setback_mm=None)),))

    assert "No setback is suggested: even at the rearmost place ridden today" in words(html)
    assert "to choose from" not in words(html)
    assert (html.count('class="window"'), html.count('class="onset-line"')) == (0, 1)


def test_of_a_jig_without_a_saddle_cell_the_page_does_not_reckon_the_feet():
    (swept,) = CASE.sweeps
    blind = tuple(dataclasses.replace(step, saddle_load_n=NAN) for step in swept.steps)

    assert "Feet are the remainder of the weight" in words(page())
    told = words(page(sweeps=(dataclasses.replace(swept, steps=blind),)))
    assert "Only the load on the hands was measured" in told
    assert "remainder of the weight" not in told


def test_a_visit_without_a_sweep_has_a_page_all_the_same():
    assert "No sweep with an answer was ridden today." in words(page(sweeps=(), decision=None))


def test_two_sweeps_and_an_earlier_visit_stand_beside_each_other_with_their_caution():
    earlier = dataclasses.replace(CASE, visit_id=3, begun_utc="2026-10-01T09:00:00+00:00")
    case = dataclasses.replace(
        CASE, sweeps=(ridden(label="saddle A"), dataclasses.replace(ridden(label="saddle B"), sweep_id=2))
    )

    told = words(printed(case, evidence_of(case, earlier=earlier), earlier))

    for name in ("saddle A", "saddle B", "before, 2026-10-01"):
        assert name in told
    assert "Against each other:" in told
    assert "Another day" in told


def test_numbers_in_sentences_have_a_minus_and_what_was_typed_is_escaped_once():
    html = page(decision=DECISION.model_copy(update={"reason": "at -2 mm it's <good>"}))

    assert "at −2 mm it&#39;s &lt;good&gt;." in html


def test_the_chart_has_the_onset_in_its_interval_and_the_window_as_another_mark():
    drawing = ElementTree.fromstring(re.search(r"<svg class=\"chart\".*?</svg>", page(), re.DOTALL).group())
    (band,) = [one for one in drawing.iter() if one.get("class") == "band"]
    (line,) = [one for one in drawing.iter() if one.get("class") == "onset-line"]
    (window,) = [one for one in drawing.iter() if one.get("class") == "window"]
    main = CASE.sweeps[0].onset
    ticks = {one.text: float(one.get("x")) for one in drawing.iter("text") if one.get("text-anchor") == "middle"}

    def mm(px):
        return 70.0 - 30.0 * (float(px) - ticks["70"]) / (ticks["40"] - ticks["70"])

    left, width = float(band.get("x")), float(band.get("width"))
    assert (mm(left + width), mm(left)) == pytest.approx(main.interval_95_mm, abs=0.1)
    assert mm(re.match(r"M([\d.]+),", line.get("d")).group(1)) == pytest.approx(main.onset_mm, abs=0.1)
    from_mm, to_mm = (mm(px) for px in re.findall(r"[MH]([\d.]+)", window.get("d")))
    assert (to_mm, from_mm) == pytest.approx(evidence_of(CASE).window_mm, abs=0.1)
    said = [one.text for one in drawing.iter("text")]
    assert f"onset {main.onset_mm:.1f}" in said
    assert "grey: 95 % interval of the onset; bracket: to choose from" in said


def test_without_an_onset_the_chart_marks_no_place():
    html = page(sweeps=(ridden(lambda mm: 80.0),), decision=None)

    assert not {"band", "onset-line", "window"} & set(re.findall(r'class="([a-z-]+)"', html))


def test_every_test_of_validity_has_a_row_with_its_number_and_what_it_means():
    html = judged_as(Conditions(mass_kg=75.0, calibrated=True))
    rows = re.findall(r"<tr class=\"[a-z-]+\"><th scope=\"row\">(.*?)</th>(.*?)</tr>", html)
    found = {name: re.findall(r"<td>(.*?)</td>", cells) for name, cells in rows}
    (swept,) = CASE.sweeps

    assert list(found) == [one.test for one in judged(swept.onset, swept.steps, Conditions()).validity]
    result, number, means = found["feet"]
    assert (result, number.replace("\N{NO-BREAK SPACE}", " ")) == ("held", "left for the feet: 26 %")
    assert means.startswith("The feet carry a possible share")
    assert found["hips"][1] == "–"
    assert "Page 2" not in page(sweeps=(), decision=None)
