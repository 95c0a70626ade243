"""Quantities as people write them, against the definitions of their units."""

from __future__ import annotations

import math
import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from kilnfolio.records.quantities import (
    Area,
    Density,
    Duration,
    Energy,
    Length,
    Mass,
    Percent,
    Pressure,
    Quantity,
    Rate,
    Speed,
    Temperature,
    TemperatureDifference,
    Volume,
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
)

KINDS = [
    Area,
    Density,
    Duration,
    Energy,
    Length,
    Mass,
    Percent,
    Pressure,
    Rate,
    Speed,
    Temperature,
    TemperatureDifference,
    Volume,
]

# International yard and pound agreement, 1959: 1 yd = 0.9144 m and 1 lb = 0.453 592 37 kg exactly.
YARD_MM = Fraction(9144, 10)
POUND_G = Fraction(45359237, 100000)
FOOT_MM, INCH_MM = YARD_MM / 3, YARD_MM / 36


# As written, kind, exact value in the house unit.
DEFINED = [
    # 0 °C and 100 °C are 32 °F and 212 °F; -40 is the same in both (definition of °F from °C)
    (Temperature, "32 °F", 0),
    (Temperature, "212 °F", 100),
    (Temperature, "-40 °F", -40),
    (Temperature, "110 F", Fraction(390, 9)),
    (Temperature, "43.3 °C", Fraction("43.3")),
    (Temperature, "-273.15 °C", Fraction("-273.15")),
    (TemperatureDifference, "9 °F", 5),
    (TemperatureDifference, "4 K", 4),
    (TemperatureDifference, "4 °C", 4),
    (Mass, "1 lb", POUND_G),
    (Mass, "1 oz", POUND_G / 16),
    (Mass, "4.862 kg", 4862),
    (Mass, "4 lb 3 oz", POUND_G * (4 + Fraction(3, 16))),
    (Mass, "4862g", 4862),
    (Mass, "10 lb. 0.5 oz.", POUND_G * (10 + Fraction(1, 32))),
    (Length, "1 in", INCH_MM),
    (Length, "1 ft", FOOT_MM),
    (Length, "3 ft", YARD_MM),
    (Length, "6 ft 2 in", 74 * INCH_MM),
    (Length, "1 1/4 in", INCH_MM * 5 / 4),
    (Length, "5/8 in", INCH_MM * 5 / 8),
    (Length, "2.7 cm", 27),
    (Length, "0.31 m", 310),
    # hardwood thickness in quarters of an inch (common practice, no source)
    (Length, "4/4", INCH_MM),
    (Length, "5/4", INCH_MM * 5 / 4),
    (Length, "6/4", INCH_MM * 3 / 2),
    (Length, "8/4", 2 * INCH_MM),
    (Length, "16/4", 4 * INCH_MM),
    (Length, "4/4 in", INCH_MM),
    # a board foot is a board 1 ft by 1 ft by 1 in
    (Volume, "1 bf", FOOT_MM**2 * INCH_MM / 10**9),
    (Volume, "1 ft³", FOOT_MM**3 / 10**9),
    (Volume, "1400 ft³", 1400 * FOOT_MM**3 / 10**9),
    (Volume, "2.5 mbf", 2500 * FOOT_MM**2 * INCH_MM / 10**9),
    (Volume, "350 L", Fraction("0.35")),
    (Area, "1 in²", (INCH_MM / 10) ** 2),
    (Area, "250 mm2", Fraction("2.5")),
    (Density, "1 lb/ft³", POUND_G / 1000 / (FOOT_MM / 1000) ** 3),
    (Density, "560 kg/m3", 560),
    (Duration, "90 min", Fraction(3, 2)),
    (Duration, "3 d", 72),
    (Duration, "1 d 6 h", 30),
    (Duration, "2 days", 48),
    (Duration, "1 h 30 min", Fraction(3, 2)),
    (Speed, "300 ft/min", 300 * FOOT_MM / 1000 / 60),
    (Speed, "1.5 m/s", Fraction(3, 2)),
    # a kilowatt hour is 3.6 MJ
    (Energy, "3.6 MJ", 1),
    (Energy, "1 GJ", Fraction(10000, 36)),
    (Energy, "2 MWh", 2000),
    (Pressure, "97.6 kPa", 97600),
    (Pressure, "1013.25 hPa", 101325),
    (Pressure, "101325 Pa", 101325),
    (Percent, "12 %", 12),
    (Percent, "12%", 12),
    (Percent, ".5 %", Fraction(1, 2)),
    (Percent, 12, 12),
    (Percent, 12.5, Fraction(25, 2)),
    (Percent, "12", 12),
    (Percent, "1e1 %", 10),
    (Rate, "3.8 %/day", Fraction("3.8")),
]


@pytest.mark.parametrize(
    ("kind", "written", "exact"), DEFINED, ids=[f"{written}" for _, written, _ in DEFINED]
)
def test_quantities_have_the_values_their_units_define(kind, written, exact):
    quantity = kind.parse(written)
    assert quantity.value == pytest.approx(float(exact), rel=4e-15, abs=1e-13)
    assert quantity.entered == str(written)
    assert type(quantity) is kind


@pytest.mark.parametrize("kind", KINDS)
def test_the_house_unit_converts_by_one_and_the_example_is_accepted(kind):
    """The house unit converts by one, and the example that every message offers is accepted."""
    assert kind.parse(f"7 {kind.unit}").value == 7
    assert kind.parse(kind.example).entered == kind.example


#: Ways to write one unit.
SAME = [
    (Temperature, "50 °C", "50 C"),
    (TemperatureDifference, "9 °F", "9 F"),
    (TemperatureDifference, "9 °C", "9 C"),
    (Volume, "9 m³", "9 m3"),
    (Volume, "9 ft³", "9 ft3"),
    (Area, "9 cm²", "9 cm2"),
    (Area, "9 mm²", "9 mm2"),
    (Area, "9 in²", "9 in2"),
    (Rate, "9 %/day", "9 %/d"),
    (Rate, "9 %/day", "9 points/day"),
    (Temperature, "50 °F", "50 F"),
    (Density, "9 kg/m³", "9 kg/m3"),
    (Mass, "9 oz", "9oz."),
    (Mass, "9 kg", "  9\u00a0 kg "),
]


@pytest.mark.parametrize(("kind", "one", "other"), SAME, ids=[other for _, _, other in SAME])
def test_two_ways_to_write_a_unit_mean_the_same(kind, one, other):
    assert kind.parse(one).value == kind.parse(other).value


def test_no_unit_is_left_unchecked():
    def units(kind: type[Quantity], written: object) -> list[str]:
        return [
            unit
            for unit in kind.units
            if re.search(rf"[\d ]{re.escape(unit)}(?![\w³²/])", str(written))
        ]

    checked = {(kind, unit) for kind, written, _ in DEFINED for unit in units(kind, written)}
    checked |= {
        (kind, unit) for kind, *pair in SAME for written in pair for unit in units(kind, written)
    }
    checked |= {
        (kind, kind.unit) for kind in KINDS
    }  # by test_the_house_unit_converts_by_one_and_the_example_is_accepted
    assert {
        (kind.__name__, unit)
        for kind in KINDS
        for unit in kind.units
        if (kind, unit) not in checked
    } == set()


def says(kind: type[Quantity], written: object) -> str:
    with pytest.raises(PydanticCustomError) as caught:
        kind.parse(written)
    context = caught.value.context
    assert context is not None
    return f"{context['why']}. {context['instead']}"


REFUSED = [
    (Mass, "241O g", "has the letter O among its digits. Write '2410 g'"),
    (Mass, "24O0 g", "has the letter O among its digits. Write '2400 g'"),
    (Mass, "l20.7 g", "has the letter l among its digits. Write '120.7 g'"),
    (
        Mass,
        "1,200 kg",
        "has a comma, which may mean thousands or decimals. Write '1.200 kg' or '1200 kg'",
    ),
    (
        Mass,
        "4,862 g",
        "has a comma, which may mean thousands or decimals. Write '4.862 g' or '4862 g'",
    ),
    (
        Temperature,
        "43,3 °C",
        "has a comma, which may mean thousands or decimals. Write '43.3 °C' or '433 °C'",
    ),
    (Mass, "1,234.5 kg", "has a comma, which may mean thousands or decimals. Write '1234.5 kg'"),
    (Mass, "1.234,5 kg", "has a comma, which may mean thousands or decimals. Write '1234.5 kg'"),
    (Mass, "1,200,000 g", "has a comma, which may mean thousands or decimals. Write '1200000 g'"),
    (Mass, "1 200 kg", "has a space inside the number. Write '1200 kg'"),
    (
        Mass,
        "4862",
        "has no unit. Write '4862 g' if that is its unit; a mass may be in g, kg, lb, oz",
    ),
    (Mass, 4862, "has no unit. Write '4862 g' if that is its unit; a mass may be in g, kg, lb, oz"),
    (
        Area,
        "35",
        "has no unit. Write '35 cm²' if that is its unit; "
        "an area may be in cm², cm2, mm², mm2, in², in2",
    ),
    (
        Length,
        "5/8",
        "has no unit. Write '5/8 in' if that is its unit; only quarters such as 4/4 go without",
    ),
    (
        Mass,
        "27 mm",
        "has the unit 'mm', which is not one of g, kg, lb, oz. Write it as in '4862 g'",
    ),
    (Mass, "4862 G", "has the unit 'G', which is not one of g, kg, lb, oz. Did you mean '4862 g'?"),
    (
        Mass,
        "5.3 lbs",
        "has the unit 'lbs', which is not one of g, kg, lb, oz. Did you mean '5.3 lb'?",
    ),
    (
        Temperature,
        "110 °f",
        "has the unit '°f', which is not one of °C, C, °F, F. Did you mean '110 °F'?",
    ),
    (
        Temperature,
        "4 K",
        "has the unit 'K', which is not one of °C, C, °F, F. Write it as in '43.3 °C'",
    ),
    (Mass, "nan g", "is not a mass. Write it as in '4862 g'"),
    (Mass, "inf kg", "is not a mass. Write it as in '4862 g'"),
    (Mass, "1e999 kg", "is not a finite number. Write it as in '4862 g'"),
    (Percent, math.inf, "is not a percentage. Write it as in '12 %'"),
    (Percent, math.nan, "is not a percentage. Write it as in '12 %'"),
    (Mass, "", "is empty. Write it as in '4862 g'"),
    (Mass, "   ", "is empty. Write it as in '4862 g'"),
    (Mass, "same", "is not a mass. Write it as in '4862 g'"),
    (Mass, '"', "is not a mass. Write it as in '4862 g'"),
    (Energy, "lots", "is not an amount of energy. Write it as in '3400 kWh'"),
    (Length, "4/0", "is not a length. Write it as in '27 mm'"),
    (Length, "1 1/0 in", "is not a length. Write it as in '27 mm'"),
    (
        Mass,
        "4862 ± 1 g",
        "holds more than one number. Write one mass, as in '4862 g', or as in '4 lb 3 oz'",
    ),
    (Mass, "> 4862 g", "is not a mass. Write it as in '4862 g'"),
    (Mass, "-5 g", "is below 0 g, where nothing is. Check the sign"),
    (Temperature, "-300 °C", "is below -273.15 °C, where nothing is. Check the sign"),
    (Percent, "12 3 %", "holds more than one number. Write one percentage, as in '12 %'"),
    (Percent, "12 % 3", "holds more than one number. Write one percentage, as in '12 %'"),
    (
        Temperature,
        "110 °F 43 °C",
        "holds more than one number. Write one temperature, as in '43.3 °C'",
    ),
    (
        Mass,
        "4 kg 862 g",
        "holds more than one number. Write one mass, as in '4862 g', or as in '4 lb 3 oz'",
    ),
    (
        Mass,
        "3 oz 4 lb",
        "holds more than one number. Write one mass, as in '4862 g', or as in '4 lb 3 oz'",
    ),
    (
        Mass,
        "-4 lb 3 oz",
        "holds more than one number. Write one mass, as in '4862 g', or as in '4 lb 3 oz'",
    ),
    (Mass, True, "is not a mass. Write it as in '4862 g'"),
    (Mass, None, "is not a mass. Write it as in '4862 g'"),
    (Mass, [4862], "is not a mass. Write it as in '4862 g'"),
    (Mass, "1" * 5000 + "/3 g", "is not a mass. Write it as in '4862 g'"),
    (Mass, "٤٨ g", "is not a mass. Write it as in '4862 g'"),
]


@pytest.mark.parametrize(
    ("kind", "written", "sentence"), REFUSED, ids=[str(written)[:20] for _, written, _ in REFUSED]
)
def test_refusal(kind, written, sentence):
    assert says(kind, written) == sentence


def test_what_an_error_message_suggests_is_accepted():
    """Nobody should be told to write something that is then refused."""
    for kind, written, sentence in REFUSED:
        if isinstance(written, str) and "Write '" in sentence:
            for offer in sentence.split("Write ")[1].split(";")[0].split(" or "):
                kind.parse(offer.strip("'").removesuffix("' if that is its unit"))


_DECIMALS = st.decimals(0, 10**6, allow_nan=False, places=3).map(lambda number: f"{number:f}")


@given(
    st.sampled_from([(kind, unit) for kind in KINDS for unit in kind.units]),
    _DECIMALS,
    st.sampled_from(["", " ", "  "]),
)
def test_every_unit_reads_what_it_writes(kind_and_unit, number, space):
    kind, unit = kind_and_unit
    quantity = kind.parse(f"{number}{space}{unit}")
    factor = kind.units[unit]
    assert quantity.value == pytest.approx(factor(float(number)), rel=1e-12)
    assert quantity.entered == " ".join(f"{number}{space}{unit}".split())
    assert kind.parse(quantity) is quantity
    assert kind.parse(quantity.entered) == quantity


@given(st.floats(-459.67, 5000))
def test_fahrenheit_and_back(temp_f):
    assert fahrenheit_from_celsius(celsius_from_fahrenheit(temp_f)) == pytest.approx(
        temp_f, rel=1e-12, abs=1e-10
    )


@given(st.integers(0, 50), st.integers(0, 15))
def test_pounds_and_ounces(pounds, ounces):
    both = Mass.parse(f"{pounds} lb {ounces} oz").value
    assert both == pytest.approx(float(POUND_G * (16 * pounds + ounces) / 16), rel=1e-14)


@given(st.integers(0, 20), st.integers(0, 64), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_mixed_fractions_of_an_inch(whole, top, bottom):
    length = Length.parse(f"{whole} {top}/{bottom} in").value
    assert length == pytest.approx(float((whole + Fraction(top, bottom)) * INCH_MM), rel=1e-14)


@given(
    st.sampled_from(KINDS),
    st.text(max_size=30) | st.text("0123456789 ./,+-eE°CFgklbozinm%", max_size=14),
)
def test_any_text_gives_a_quantity_or_is_refused(kind, words):
    try:
        quantity = kind.parse(words)
    except PydanticCustomError as refusal:
        context = refusal.context or {}
        assert context["why"]
        assert context["instead"]
    else:
        assert math.isfinite(quantity.value)
        assert any(character.isdigit() for character in quantity.entered)
