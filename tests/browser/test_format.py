"""Numbers as they are shown."""

import pytest

NBSP = "\u00a0"
MINUS = "\u2212"


@pytest.fixture(autouse=True)
def english(js):
    js("format.js", "void m.useLocale('en')")


@pytest.mark.parametrize(
    ("call", "shown"),
    [
        # A space before the unit, none before the degree sign: BIPM SI Brochure, 9th edition, 5.4.3.
        ("m.newtons(78.4)", f"78{NBSP}N"),
        ("m.watts(199.6)", f"200{NBSP}W"),
        ("m.degrees(-0.52)", f"{MINUS}0.5°"),
        # A space before the per cent sign: the same, 5.4.7.
        ("m.percent(0.109, 1)", f"10.9{NBSP}%"),
        # A half space or a centred dot between multiplied units: the same, 5.2.
        ("m.newtonMetres(21.2)", f"21.2{NBSP}N\u202fm"),
        # No separator but a space in digits, and none at four of them: the same, 5.4.4.
        ("m.newtons(1234)", f"1234{NBSP}N"),
        ("m.range([48.1, 56.9], 'mm', 1)", f"48.1–56.9{NBSP}mm"),
        ("m.range([-4, 6], 'mm')", f"{MINUS}4 to 6{NBSP}mm"),
        ("m.clock(185)", "3:05"),
        ("m.clock(59.6)", "1:00"),
    ],
)
def test_a_quantity_is_shown_with_its_unit(js, call, shown):
    assert js("format.js", call) == shown


@pytest.mark.parametrize("missing", ["null", "undefined", "NaN", "Infinity"])
def test_what_is_not_known_is_an_en_rule_and_never_zero(js, missing):
    assert js("format.js", f"m.newtons({missing})") == f"–{NBSP}N"
    assert js("format.js", f"m.percent({missing})") == f"–{NBSP}%"
    assert js("format.js", f"m.clock({missing})") == "–"


def test_a_value_that_rounds_to_zero_has_no_minus_sign(js):
    assert js("format.js", "[m.number(-0.04, 1), m.number(-0, 0)]") == ["0.0", "0"]


def test_the_decimal_sign_follows_the_setting(js):
    # German and French write a comma: CLDR, numbers, symbols, decimal.
    js("format.js", "void m.useLocale(m.DECIMAL_LOCALES.comma)")
    assert js("format.js", "m.millimetresFine(52.4)") == f"52,4{NBSP}mm"

    js("format.js", "void m.useLocale(m.DECIMAL_LOCALES.point)")
    assert js("format.js", "m.millimetresFine(52.4)") == f"52.4{NBSP}mm"


@pytest.mark.parametrize(("value", "shown"), [(0.4, "0.40"), (1.55, "1.6"), (9.96, "10"), (0.996, "1.0")])
def test_an_uncertainty_has_two_figures_at_most(js, value, shown):
    # At most two significant digits: JCGM 100:2008 (GUM), 7.2.6.
    assert js("format.js", "m.uncertainty(a)", value) == f"±{NBSP}{shown}"


def test_travel_is_forward_when_setback_falls(js):
    assert js("format.js", "m.travel(50, 45)") == f"5{NBSP}mm forward"
    assert js("format.js", "m.travel(45, 55)") == f"10{NBSP}mm rearward"


def test_a_sentence_gets_a_minus_before_numbers_and_keeps_its_hyphens(js):
    told = "-1.0° (95 % -1.6 to +0.7 N; -2), 2026-11-26, 8(1):51-55, light-throughout"

    shown = js("format.js", "m.withMinus(a)", told)

    assert shown == f"{MINUS}1.0° (95 % {MINUS}1.6 to +0.7 N; {MINUS}2), 2026-11-26, 8(1):51-55, light-throughout"
