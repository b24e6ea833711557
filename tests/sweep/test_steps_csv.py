"""A table of steps: what is read, what is warned of, what is refused and with which words."""

import json
import math

import pytest

from daq.sweep.steps_csv import BadTable
from tests.bits import bits
from tests.sweep.tables import onset_json, parse_steps

HEAD = "setback_mm,hand_load_n,se_n,t_min,crank_torque_nm\n"
ROWS = """\
80,80.1,1.0,0.5,21
70,79.2,1.1,1.2,21.2
60,80.7,1.0,1.9,20.9
50,82.9,1.2,2.6,21.1
40,98.5,1.0,3.3,21
30,113.6,1.0,4.0,21.3
35,105.9,1.1,4.7,21
45,90.8,1.0,5.4,20.8
55,80.4,1.0,6.1,21
65,80.3,1.0,6.8,21.1
75,80.0,1.0,7.5,21
"""
TABLE = HEAD + ROWS


def two_columns(pairs):
    return "setback_mm,hand_load_n\n" + "\n".join(f"{s},{n}" for s, n in pairs)


SETBACKS = (80, 70, 60, 50, 40, 30)


def test_a_long_table_is_not_taken_for_seconds():
    """500 steps of 45 s: 374 minutes."""
    rows = "\n".join(f"{80 - 5 * (i % 11)},80,1,{0.75 * i},21" for i in range(500))

    assert len(parse_steps(HEAD + rows)[0]) == 500


def test_where_the_bar_stood_is_not_said_to_be_planned_by_a_table_without_a_plan():
    (reach,) = (one for one in onset_json(TABLE)[0]["validity"] if one["test"] == "reach")

    assert reach["means"] == "reach not confirmed: where the bar stood is not stated"


def test_many_visits_to_each_position_are_steps_like_any_other():
    rows = [(setback, 90 + max(0, 52 - setback)) for _ in range(20) for setback in range(30, 85, 5)]

    assert len(parse_steps(two_columns(rows))[0]) == 220


def test_every_known_column_is_read():
    steps, warnings = parse_steps(TABLE)

    assert warnings == []
    assert len(steps) == 11
    assert (steps[1].setback_mm, steps[1].hand_load_n, steps[1].se_n) == (70.0, 79.2, 1.1)
    assert (steps[1].t_min, steps[1].crank_torque_nm) == (1.2, 21.2)


def test_semicolons_with_decimal_commas_a_byte_order_mark_and_remarks_are_read():
    text = "\ufeff# ridden on Tuesday\n" + TABLE.replace(",", ";").replace(".", ",")

    assert bits(parse_steps(text)) == bits(parse_steps(TABLE))


def test_quoted_names_with_spaces_about_them_are_read():
    text = TABLE.replace("setback_mm,hand_load_n", '"setback_mm" , "Hand_Load_N"')

    assert bits(parse_steps(text)) == bits(parse_steps(TABLE))


def test_the_json_has_the_keys_of_the_contract_and_no_nan():
    content, _ = onset_json(TABLE)

    promised = {"verdict", "gradual", "onset_mm", "interval_95_mm", "p_onset", "least_squares_mm", "rss",
                "suggested_setback_mm", "reasons"}  # fmt: skip
    assert promised <= set(content)
    assert content["verdict"] == "onset"
    assert content["interval_95_mm"][0] < content["onset_mm"] < content["interval_95_mm"][1]
    json.dumps(content, allow_nan=False)


def test_no_onset_is_null_not_a_number():
    content, _ = onset_json(two_columns([(s, 80 + 0.3 * (i % 2)) for i, s in enumerate(range(80, 25, -5))]))

    assert content["onset_mm"] is None
    assert content["interval_95_mm"] is None
    assert content["suggested_setback_mm"] is None


def test_what_a_spreadsheet_adds_is_no_obstacle():
    """Columns without a name at the right, a line that names the separator."""
    text = "sep=,\n" + "".join(f"{line},,\n" for line in TABLE.splitlines())

    assert bits(parse_steps(text)) == bits(parse_steps(TABLE))


def test_loads_that_may_be_kilograms_are_asked_about():
    _, warnings = parse_steps(two_columns([(s, 30 + s / 100) for s in SETBACKS]))

    assert warnings == ["hand_load_n never reaches 40 N: multiply by 9.81 if these are kilograms, by 4.45 if pounds"]


def test_unknown_columns_are_named_in_a_warning():
    text = TABLE.replace("t_min", "minutes")

    steps, warnings = parse_steps(text)

    assert math.isnan(steps[0].t_min)
    assert "minutes" in warnings[0]


def test_order_stands_in_for_time():
    text = "setback_mm,hand_load_n,order\n" + "\n".join(f"{s},{80 + i},{i + 1}" for i, s in enumerate(SETBACKS))

    minutes = [step.t_min for step in parse_steps(text)[0]]

    assert minutes == sorted(minutes)
    assert len(set(minutes)) == 6


@pytest.mark.parametrize(
    ("minutes", "says"),
    [
        (["0", "1", "", "3", "4", "5"], "not used: column t_min; it is empty on some lines"),
        (["2"] * 6, "not used: column t_min; it is the same on every line"),
        (
            ["0", "1", "1", "2", "3", "4"],
            "t_min is 1 on lines 3 and 4: whether the rider adapts slowly is not looked at",
        ),
    ],
)
def test_times_that_cannot_be_are_told(minutes, says):
    rows = [f"{s},{80 + i},{t}" for i, (s, t) in enumerate(zip(SETBACKS, minutes, strict=True))]

    _, warnings = parse_steps("\n".join(["setback_mm,hand_load_n,t_min", *rows]))

    assert warnings == [says]


@pytest.mark.parametrize(
    ("minutes", "says"),
    [
        (["0", "1", "", "3", "4", "5"], ["not used: column t_min; it is empty on some lines"]),
        (["2"] * 6, ["not used: column t_min; it is the same on every line"]),
        ([""] * 6, []),
    ],
)
def test_order_stands_in_where_times_do_not_tell(minutes, says):
    rows = [f"{s},{80 + i},{t},{i + 1}" for i, (s, t) in enumerate(zip(SETBACKS, minutes, strict=True))]

    steps, warnings = parse_steps("\n".join(["setback_mm,hand_load_n,t_min,order", *rows]))

    assert [step.t_min for step in steps] == [0.75, 1.5, 2.25, 3.0, 3.75, 4.5]
    assert warnings == says


def test_where_neither_times_nor_order_tell_both_are_named():
    rows = [f"{s},{80 + i},{'' if i else 1},{'' if i == 2 else i}" for i, s in enumerate(SETBACKS)]

    steps, warnings = parse_steps("\n".join(["setback_mm,hand_load_n,t_min,order", *rows]))

    assert all(math.isnan(step.t_min) for step in steps)
    assert warnings == [f"not used: column {name}; it is empty on some lines" for name in ("t_min", "order")]


def test_a_visit_that_is_there_twice_is_refused_where_its_time_tells():
    rows = [f"{s},{80 + i},{i}" for i, s in enumerate(SETBACKS)]

    with pytest.raises(BadTable, match="line 8: the same as line 7, t_min too"):
        parse_steps("\n".join(["setback_mm,hand_load_n,t_min", *rows, rows[-1]]))

    untimed = [row.rsplit(",", 1)[0] for row in [*rows, rows[-1]]]
    assert len(parse_steps("\n".join(["setback_mm,hand_load_n", *untimed]))[0]) == 7


def test_partly_empty_errors_are_not_used_and_it_is_said():
    steps, warnings = parse_steps(TABLE.replace("80,80.1,1.0,", "80,80.1,,"))

    assert math.isnan(steps[1].se_n)
    assert "se_n" in warnings[0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the table is empty"),
        ("setback_mm,load\n80,80\n", "no column hand_load_n"),
        ("setback_mm,hand_load_n,setback_mm\n80,80,80\n", "column setback_mm is there more than once"),
        (TABLE.replace("79.2", "nan"), "line 3: hand_load_n: expected a number, got nan; leave the step out"),
        (TABLE.replace("79.2", ""), "line 3: hand_load_n: expected a number, got nothing"),
        (TABLE.replace("79.2", "inf"), "line 3: hand_load_n: expected a number, got inf"),
        (TABLE.replace("79.2", "seventy"), "line 3: hand_load_n: expected a number, got seventy"),
        (TABLE.replace("79.2", "7_9"), "line 3: hand_load_n: expected a number, got 7_9"),
        (
            TABLE.replace("70,79.2,1.1", "70,79.2,0"),
            "line 3: se_n: expected 1e-06 to 200 N, got 0; .* leave the cells empty",
        ),
        (TABLE.replace("79.2", '"79.2'), "line 3: a quotation mark without its pair"),
        (TABLE.replace(",", "/"), "separated by commas, semicolons or tabs, got: setback_mm/hand_load_n"),
        ("\x1b[31mx", r"line 1: expected cells of text without control characters; character 1 is \\x1b$"),
        ("x" * 5000, r"got: x{200}\.\.\.$"),
        (HEAD + "9" * 200_000, "line 2: not a line of a table"),
        (HEAD + ROWS * 46, "expected at most 500 steps, got 506 lines"),
        (HEAD + ROWS * 20_000, "at most 500 steps, got more than 1000000 characters"),
        (TABLE.replace("70,79.2,1.1", "70,79.2,nan"), "leave the cell empty when it is not known"),
        (TABLE.replace("70,79.2", "70"), "line 3: expected 5 cells as in the first line, got 4"),
        (two_columns([(s, 80) for s in (80, 70, 60, 50, 50)]), "expected 5 or more different setbacks, got 4"),
        (two_columns([(60 + s / 1000, 80 + s) for s in SETBACKS]), "got 1: ride more positions, at least 1 mm apart"),
        (two_columns([(s / 10, 80 + s) for s in SETBACKS]), "looks like cm or m; expected mm"),
        (two_columns([(s / 1000, 80 + s) for s in SETBACKS]), "looks like cm or m; expected mm"),
        (two_columns([(-s, 80 + s) for s in SETBACKS]), "all in front of the BB; expected positive behind it"),
        (two_columns([(s, -80 - s) for s in SETBACKS]), "the wrong sign"),
        (two_columns([(s * 1000, 80 + s) for s in SETBACKS]), "setback_mm: expected -200 to 400"),
        (
            two_columns([(s, 8 + s / 100) for s in SETBACKS]),
            "looks like kilograms or pounds, or like cells that read nothing; expected newtons",
        ),
        # 80 to 105 N in pounds: 1 lbf = 4.4482216 N, NIST SP 811
        (two_columns([(s, (80 + max(55 - s, 0)) / 4.4482216) for s in SETBACKS]), "looks like kilograms or pounds"),
        (ROWS, "the first line holds numbers; expected the names of the columns, setback_mm, hand_load_n"),
        (
            TABLE.replace("70,79.2", '70,"79,2"'),
            "line 3: hand_load_n: expected a number, got 79,2; decimals with a comma need semicolons",
        ),
        (two_columns([(s, 8000 + s) for s in SETBACKS]), "looks like grams"),
        (TABLE.replace(",21\n", ",200\n"), "crank_torque_nm: expected -50 to 150 N m"),
        (HEAD + "\n".join(f"{s},80,1,{400 * i},21" for i, s in enumerate(SETBACKS)), "looks like seconds"),
        (HEAD + "\n".join(f"{s},80,1,{42 * i},21" for i, s in enumerate(SETBACKS)), "42 from one step to the next"),
    ],
)
def test_a_table_that_cannot_be_right_is_refused_with_the_reason(text, says):
    with pytest.raises(ValueError, match=says):
        onset_json(text)


LIMITS = {
    "setback_mm": (-200, 400),
    "hand_load_n": (-50, 1500),
    "se_n": (1e-6, 200),
    "crank_torque_nm": (-50, 150),
    "saddle_load_n": (-50, 2000),
    "weight_line_mm": (-400, 500),
    "u_setback_mm": (0, 20),
    "bar_y_mm": (300, 1200),
    "saddle_height_mm": (400, 1000),
    "saddle_tilt_deg": (-20, 20),
}
"""What a column can hold: wide enough for every rider and jig, narrow enough to tell a unit. Assumptions."""


def with_value(column, value):
    """A table whose third line holds this value in this column."""
    rows = [{column: value, "setback_mm": 80 - 5 * i, "hand_load_n": 80 + i} for i in range(8)]
    rows[2][column] = value
    names = list(rows[0])
    return "\n".join([",".join(names), *(",".join(str(row[name]) for name in names) for row in rows)]) + "\n"


@pytest.mark.parametrize("column", LIMITS)
def test_a_column_holds_what_it_can_and_nothing_beyond(column):
    low, high = LIMITS[column]
    beyond = 1e-3 * (high - low)

    for value in (low, high):
        parse_steps(with_value(column, value))
    for value in (low - beyond, high + beyond):
        with pytest.raises(ValueError, match=column):
            parse_steps(with_value(column, value))
