"""The registry of formulas: what is printed, and that the printed sum is the one computed."""

import re

import pytest

from kilnfolio.records.quantities import Length, Mass, Percent, Temperature
from kilnfolio.review import figures
from kilnfolio.review.formulas import FORMULAS, work
from kilnfolio.review.working import WrongArgumentsError, evaluate, parse_any


def test_a_working_shows_formula_values_and_result():
    value, working = work(
        "moisture_content",
        "MC of section A",
        mass=Mass.parse("240 g"),
        oven_dry_mass=Mass.parse("200 g"),
    )
    assert value == 20.0  # common practice: 240 g wet and 200 g dry is 20 %
    assert working.name == "MC of section A"
    assert working.substituted.replace("\u00a0", " ") == "100 × (240 g − 200 g) ÷ 200 g"
    assert working.result.replace("\u00a0", " ") == "20.0 %"
    assert working.source == "en-13183-1"


def test_plain_numbers_are_in_house_units():
    value, working = work("oven_dry_mass", "board", mass=4862.0, mc=75.6)
    assert value == pytest.approx(2768.8, abs=0.05)
    assert "4862.0\u00a0g" in working.substituted


def test_values_are_shown_as_entered_and_the_formula_uses_celsius():
    _, working = work(
        "relative_humidity",
        "RH",
        dry_bulb=Temperature.parse("110 °F"),
        wet_bulb=Temperature.parse("106 °F"),
    )
    # Oregon State, white oak, first step: 110 °F with 4 °F depression.
    assert "43.3\u00a0°C − 41.1\u00a0°C" in working.substituted
    assert working.result.startswith("87.")


@pytest.mark.parametrize(
    "text",
    [
        "100 × (112.4 g − 68.9 g) ÷ 68.9 g",
        "(62.4 % + 58.1 % + 55 %) ÷ 3",
    ],
)
def test_the_printed_sum_can_be_done_by_hand(text):
    """The printed arithmetic, evaluated by Python from the printed characters, gives the printed
    result."""
    if text.startswith("100"):
        _, working = work(
            "moisture_content", "x", mass=Mass.parse("112.4 g"), oven_dry_mass=Mass.parse("68.9 g")
        )
    else:
        _, working = work(
            "controlling_moisture_content",
            "x",
            of=[Percent.parse(mc) for mc in ("46.2 %", "62.4 %", "55 %", "58.1 %", "51.7 %")],
        )
    assert working.substituted.replace("\u00a0", " ") == text
    assert eval(_plain(working.substituted)) == pytest.approx(
        float(_plain(working.result)), abs=0.05
    )


def _plain(words):
    words = words.replace("×", "*").replace("÷", "/").replace("−", "-")
    return re.sub(r"[^\d.+\-*/() ]", "", words)


#: Steps that are plain arithmetic once values are put in, each with its own arguments.
ARITHMETIC = {
    "mass_at": {"oven_dry_mass": "3180.9 g", "mc": "8 %"},
    "wet_basis": {"mc": "43.7 %"},
    "mean": {"of": ["65.1 %", "66.2 %", "60 %"]},
    "difference": {"a": "12.4 %", "b": "9.9 %"},
    "drying_rate": {"mc_from": "43.7 %", "mc_to": "41.0 %", "time": "18 h"},
    "shrinkage_at": {"total": "8.6 %", "mc": "7 %"},
    "shrunk_size": {"size": "150 mm", "shrinkage": "7.2 %"},
    "green_size": {"dry_size": "120 mm", "shrinkage": "7.2 %"},
    "dimension_change": {
        "size": "120 mm",
        "coefficient": 0.00365,
        "mc_from": "11 %",
        "mc_to": "7 %",
    },
    "water_removed": {
        "volume": "30 m³",
        "basic_density": "550 kg/m³",
        "mc_from": "45 %",
        "mc_to": "8 %",
    },
    "timber_mass": {"volume": "30 m³", "basic_density": "550 kg/m³", "mc": "45 %"},
    "priced": {"amount": "14 h", "price": 3.5},
    "maximum_mc": {"basic_specific_gravity": 0.56},
    "meter_temperature_correction": {
        "reading": "14.0 %",
        "wood_temperature": "45 °C",
        "calibration_temperature": "20 °C",
    },
    "equalizing_start": {"target": "8 %", "below": "2 points"},
}


@pytest.mark.parametrize("name", ARITHMETIC)
def test_every_plain_formula_prints_the_sum_it_computes(name):
    formula = FORMULAS[name]
    values = {}
    for key, value in ARITHMETIC[name].items():
        argument = formula.argument(key)
        read = parse_any if argument.of.__name__ == "Quantity" else argument.of.parse
        values[key] = [read(one) for one in value] if isinstance(value, list) else read(value)
    result = evaluate(formula, name, values)
    printed = eval(
        re.sub(
            r"kg/m³|m³|points/day|[^\d.+\-*/() ]",
            "",
            result.working.substituted.replace("×", "*")
            .replace("÷", "/")
            .replace("−", "-")
            .replace("kg/m³", "")
            .replace("m³", ""),
        )
    )
    assert printed == pytest.approx(result.value, rel=1e-6, abs=1e-6)


def test_an_interval_is_not_a_number():
    values = {"mean": 12.2, "sd": 0.86, "readings": 30, "confidence": 95}
    with pytest.raises(ValueError, match="interval"):
        work("confidence_interval", "x", **values)
    assert (
        evaluate(FORMULAS["confidence_interval"], "x", values).text.replace("\u00a0", " ")
        == "11.9 % to 12.5 %"
    )


def test_wrong_arguments_are_reported_by_name():
    with pytest.raises(WrongArgumentsError, match="takes no 'weight'"):
        work("moisture_content", "x", weight=240.0, oven_dry_mass=200.0)
    with pytest.raises(WrongArgumentsError, match="needs 'oven_dry_mass'"):
        work("moisture_content", "x", mass=240.0)
    with pytest.raises(WrongArgumentsError, match="mass is a length"):
        work("moisture_content", "x", mass=Length.parse("27 mm"), oven_dry_mass=200.0)
    with pytest.raises(WrongArgumentsError, match="different kinds"):
        work("difference", "x", a=Percent.parse("8 %"), b=Mass.parse("8 g"))


def test_physics_refuses_what_it_cannot_compute():
    with pytest.raises(ValueError, match="oven_dry_mass"):
        work("moisture_content", "x", mass=240.0, oven_dry_mass=0.0)


def test_every_formula_has_a_description_and_a_source():
    for name, formula in FORMULAS.items():
        assert name == formula.name
        assert formula.symbols
        assert formula.source
        assert formula.arguments


@pytest.mark.parametrize(
    ("entered", "shown"),
    [
        # The inch is 25.4 mm and the pound 453.59237 g by the agreement of 1959.
        ("25 mm", "25 mm (0.98 in)"),
        ("2 in", "51 mm (2 in)"),
        ("300 mm", "300 mm (11.8 in)"),
        ("110 °F", "43.3 °C (110 °F)"),
        ("103 °C", "103 °C (217 °F)"),
        ("5 K", "5 K (9 °F)"),
        ("2 K", "2 K (3.6 °F)"),
        ("43.3 °C", "43.3 °C (109.9 °F)"),
        ("5 g", "5 g (0.18 oz)"),
        ("12 %", "12 %"),
        ("2 m/s", "2 m/s (390 ft/min)"),
        ("8/4", "51 mm (8/4)"),
    ],
)
def test_both_unit_systems_side_by_side(entered, shown):
    assert figures.side_by_side(parse_any(entered)).replace("\u00a0", " ") == shown


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [
        (12345.6, 0, "12\u00a0346"),
        (1234.5, 1, "1234.5"),
        (-0.04, 1, "0.0"),
        (-2.04, 1, "−2.0"),
        (float("nan"), 1, "–"),
        (None, 1, "–"),
    ],
)
def test_numbers_are_printed_for_people(value, decimals, shown):
    assert figures.number(value, decimals) == shown
