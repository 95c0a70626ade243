"""Calculators of the air in a kiln."""

from __future__ import annotations

from kilnfolio.calculators.fields import EMC_HOLDS, FITTED, altitude, percent, temperature
from kilnfolio.calculators.form import Calculator, Choice, Field, Range, Step, Trusted
from kilnfolio.physics import air
from kilnfolio.records.mill import Mill
from kilnfolio.records.quantities import TemperatureDifference

_BULBS_HOLD = (
    "It supposes a clean, wet wick in a brisk stream of air, above freezing; wetting that fails "
    "reads too humid."
)
_COLD = "It is colder than the EMC equation was fitted for: take the EMC as a rough guide."
_FROZEN = "The wick would be frozen. Do not take RH from it."
_THAWED = Range(0.0, air.BULB_RANGE_C[1])

_WHERE = {"altitude": "altitude"}
_PRESSURE = Step("pressure", "Air pressure", "pressure_at_altitude", _WHERE, intermediate=True)
_GIVEN_WET, _GIVEN_DEPRESSION = ("given", "wet-bulb"), ("given", "depression")


_STEPS_FROM_BULBS = (
    Step(
        "wet_bulb",
        "Wet bulb",
        "wet_bulb_of_depression",
        {"dry_bulb": "dry_bulb", "depression": "depression"},
        when=_GIVEN_DEPRESSION,
    ),
    Step(
        "depression",
        "Depression",
        "depression",
        {"dry_bulb": "dry_bulb", "wet_bulb": "wet_bulb"},
        when=_GIVEN_WET,
    ),
    _PRESSURE,
    Step(
        "humidity",
        "RH",
        "relative_humidity",
        {"dry_bulb": "dry_bulb", "wet_bulb": "wet_bulb", **_WHERE},
    ),
    Step(
        "emc",
        "EMC",
        "equilibrium_moisture_content",
        {"temperature": "dry_bulb", "relative_humidity": "humidity"},
    ),
    Step(
        "dew_point",
        "Dew point",
        "dew_point",
        {"dry_bulb": "dry_bulb", "relative_humidity": "humidity"},
    ),
)


def climates(mill: Mill) -> tuple[Calculator, ...]:
    """Return the calculators of bulbs, humidity and EMC."""
    return (
        _air_from_bulbs(mill),
        _set_points(mill),
    )


def _air_from_bulbs(mill: Mill) -> Calculator:
    return Calculator(
        "air-from-bulbs",
        "RH, EMC and dew point from two bulbs",
        "What the dry bulb and the wet bulb say of the air, and the MC that {timber} in it "
        "tends to.",
        (
            temperature("dry_bulb", "Dry bulb", "60 °C"),
            temperature("wet_bulb", "Wet bulb", "50 °C", when=_GIVEN_WET),
            Field(
                "depression",
                "Depression",
                TemperatureDifference,
                "10 °C",
                ("°C", "°F"),
                "°F",
                when=_GIVEN_DEPRESSION,
            ),
            altitude(mill),
        ),
        _STEPS_FROM_BULBS,
        f"{_BULBS_HOLD} {EMC_HOLDS}",
        (
            ("Table of EMC by dry bulb and depression", "calculations", "emc-from-bulbs"),
            ("Table of RH by dry bulb and depression", "kiln-and-air", "dry-and-wet-bulb"),
            ("Does height matter?", "kiln-and-air", "psychrometer"),
        ),
        choices=(
            Choice(
                "given",
                "Given beside the dry bulb",
                (("wet-bulb", "the wet bulb"), ("depression", "the depression")),
            ),
        ),
        trusted=(Trusted("wet_bulb", _THAWED, _FROZEN), Trusted("dry_bulb", FITTED, _COLD)),
    )


def _set_points(mill: Mill) -> Calculator:
    return Calculator(
        "set-points",
        "Set-points for a wanted EMC",
        "The wet bulb, the depression and the RH that hold an EMC at a dry bulb.",
        (
            temperature("dry_bulb", "Dry bulb", "70 °C"),
            percent("emc", "EMC wanted", "8 %"),
            altitude(mill),
        ),
        (
            Step(
                "humidity",
                "RH",
                "relative_humidity_for_emc",
                {"temperature": "dry_bulb", "emc": "emc"},
            ),
            _PRESSURE,
            Step(
                "wet_bulb",
                "Wet bulb",
                "wet_bulb",
                {"dry_bulb": "dry_bulb", "relative_humidity": "humidity", **_WHERE},
            ),
            Step(
                "depression",
                "Depression",
                "depression",
                {"dry_bulb": "dry_bulb", "wet_bulb": "wet_bulb"},
            ),
        ),
        "It says what air holds this EMC, not whether the {timber} stands it: the schedule and the "
        f"species' ceiling decide that. {_BULBS_HOLD} {EMC_HOLDS}",
        (
            ("Table of wet bulbs for an EMC", "kiln-and-air", "dry-and-wet-bulb"),
            ("Equalizing and conditioning air", "equalizing-and-conditioning", "equalizing-air"),
        ),
        trusted=(Trusted("wet_bulb", _THAWED, _FROZEN), Trusted("dry_bulb", FITTED, _COLD)),
    )
