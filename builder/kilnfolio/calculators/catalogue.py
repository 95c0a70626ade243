"""The calculators of the page, in its order."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from kilnfolio.calculators.form import (
    Calculator,
    Choice,
    Field,
    Range,
    Step,
    Timber,
    Trusted,
)
from kilnfolio.physics import air, meters, moisture, shrinkage, sorption
from kilnfolio.records.mill import Mill
from kilnfolio.records.quantities import (
    Density,
    Duration,
    Length,
    Mass,
    Percent,
    Temperature,
    TemperatureDifference,
    Volume,
)
from kilnfolio.records.sourced import Known
from kilnfolio.records.species import Species
from kilnfolio.rendering.amounts import restated as restate
from kilnfolio.rendering.regional import regional_format
from kilnfolio.review import figures
from kilnfolio.review.working import Bare


def _temperature(name: str, label: str, example: str, **more: Any) -> Field:
    return Field(name, label, Temperature, example, ("°C", "°F"), "°F", **more)


def _mass(name: str, label: str, example: str, **more: Any) -> Field:
    return Field(name, label, Mass, example, ("g", "kg", "lb", "oz"), "lb", **more)


def _size(name: str, label: str, example: str) -> Field:
    return Field(name, label, Length, example, ("mm", "cm", "in", "ft"), "in")


def _percent(name: str, label: str, example: str, **more: Any) -> Field:
    return Field(name, label, Percent, example, ("%",), **more)


def _altitude(mill: Mill) -> Field:
    return Field(
        "altitude",
        "Height above the sea",
        Length,
        f"{mill.altitude.value / 1000.0:g} m",
        ("m", "ft"),
        "ft",
    )


_MC = Range(*moisture.MC_RANGE_PCT)
_DIRECTION = Choice(
    "direction",
    "Direction",
    (
        ("tangential", "tangential: across a {flat-sawn} board"),
        ("radial", "radial: across a quarter-sawn board"),
    ),
)


def _coefficient(species: Species, direction: str) -> tuple[str, Known] | None:
    known = species.movement
    value = known and getattr(known, direction)
    return (f"{value:g}", known) if known and value else None


def _total_shrinkage(species: Species, direction: str) -> tuple[str, Known] | None:
    known = species.shrinkage
    total = known and getattr(known, direction)
    return (f"{total.value:g} %", known) if known and total else None


def _basic_density(species: Species, _direction: str) -> tuple[str, Known] | None:
    density = species.basic_density
    if density:
        return f"{density.value.value:g} kg/m³", density
    known = next((gravity for gravity in species.specific_gravity if gravity.basic), None)
    return (f"{species.basic_density_kg_m3:g} kg/m³", known) if known else None


_FITTED = Range(*sorption.FITTED_TEMP_RANGE_C)
_EMC_HOLDS = (
    f"The EMC equation is fitted from {figures.number(_FITTED.low)} to "
    f"{figures.metric(_FITTED.high, Temperature)}; its tenths carry no physical meaning, and wood "
    "that dries rests a point or more above wood that takes up water."
)
_BULBS_HOLD = (
    "It supposes a clean, wet wick in a brisk stream of air, above freezing; wetting that fails "
    "reads too humid."
)
_COLD = "It is colder than the EMC equation was fitted for: take the EMC as a rough guide."
_FROZEN = "The wick would be frozen. Do not take RH from it."
_THAWED = Range(0.0, air.BULB_RANGE_C[1])


def calculators(mill: Mill) -> tuple[Calculator, ...]:
    """Return the calculators of a mill, in the order of the page."""
    regional = regional_format(mill)
    made = (*_weights(), *_climates(mill), *_sizes(), *_rates_and_loads(), *_surveys())
    if regional.customary_first:
        made = tuple(replace(one, fields=tuple(map(_in_customary, one.fields))) for one in made)
    return tuple(
        _said(replace(one, holds=regional.localized(one.holds)), regional.say) for one in made
    )


#: What an example's number is rounded to, by its US customary unit.
_ROUNDED_TO = {
    "°F": 1.0,
    "lb": 0.01,
    "oz": 0.1,
    "in": 0.125,
    "ft": 10.0,
    "lb/ft³": 1.0,
    "bf": 100.0,
}


def _in_customary(asked: Field) -> Field:
    """Return a field whose example is in its US customary unit, in round numbers."""
    if not asked.us or figures.is_customary(
        asked.of.parse(asked.example.split()[0] + " " + asked.example.split()[-1])
    ):
        return asked
    *numbers, unit = asked.example.split()
    step = _ROUNDED_TO.get(asked.us, 0.1)
    restated = [
        restate(asked.of.parse(f"{number} {unit}"), asked.us, step).entered for number in numbers
    ]
    if any(not one.endswith(f" {asked.us}") for one in restated):
        return asked
    return replace(
        asked, example=" ".join([*(one.rpartition(" ")[0] for one in restated), asked.us])
    )


def _said(calculator: Calculator, say: Callable[[str], str]) -> Calculator:
    """Return a calculator in the words of the mill's region."""

    def chosen(choice: Choice) -> Choice:
        return replace(
            choice, options=tuple((value, say(words)) for value, words in choice.options)
        )

    timber = calculator.timber
    if timber and timber.direction:
        timber = replace(timber, direction=chosen(timber.direction))
    return replace(
        calculator,
        purpose=say(calculator.purpose),
        holds=say(calculator.holds),
        fields=tuple(replace(asked, label=say(asked.label)) for asked in calculator.fields),
        choices=tuple(map(chosen, calculator.choices)),
        timber=timber,
    )


def _weights() -> Iterator[Calculator]:
    yield Calculator(
        "moisture-content",
        "MC from two weights",
        "A piece is weighed, dried in the oven until it loses no more, and weighed again.",
        (
            _mass("mass", "Mass as weighed", "237.4 g"),
            _mass("oven_dry_mass", "Oven-dry mass", "152.6 g"),
        ),
        (Step("mc", "MC", "moisture_content", {"mass": "mass", "oven_dry_mass": "oven_dry_mass"}),),
        "Both masses of the same piece, on the same balance. A piece that was not yet oven-dry "
        "makes the MC come out too low.",
        (("Moisture content", "calculations", "moisture-content"),),
    )
    yield Calculator(
        "sample-board",
        "Sample board: oven-dry mass and change masses",
        "From the MC of its sections, the oven-dry mass of a sample board, and the mass at which "
        "each MC falls due.",
        (
            _percent("first", "MC of one section", "78.4 %", range=_MC),
            _percent("second", "MC of the other section", "75.2 %", optional=True, range=_MC),
            _mass("mass", "Mass of the board when they were cut", "4862 g"),
            _percent("due", "MCs to look out for", "50 40 35 30 25 20 15 8 %", many=True),
            _mass("today", "Mass today", "3890 g", optional=True),
        ),
        (
            Step("mc", "MC when cut", "mean", {"of": ("first", "second")}, intermediate=True),
            Step("oven_dry", "Oven-dry mass", "oven_dry_mass", {"mass": "mass", "mc": "mc"}),
            Step(
                "now",
                "MC today",
                "moisture_content",
                {"mass": "today", "oven_dry_mass": "oven_dry"},
            ),
            Step(
                "at", "Mass at", "mass_at", {"oven_dry_mass": "oven_dry", "mc": "due"}, each="due"
            ),
        ),
        "The board is taken to be as wet as its sections were; one point of error there stays in "
        "every later MC. Near the end, cut and weigh again.",
        (
            ("From sections to a sample board", "calculations", "oven-dry-mass"),
            ("Cutting again", "sampling", "re-sectioning"),
        ),
    )


def _climates(mill: Mill) -> Iterator[Calculator]:
    where = {"altitude": "altitude"}
    pressure = Step("pressure", "Air pressure", "pressure_at_altitude", where, intermediate=True)
    given_wet, given_depression = ("given", "wet-bulb"), ("given", "depression")
    yield Calculator(
        "air-from-bulbs",
        "RH, EMC and dew point from two bulbs",
        "What the dry bulb and the wet bulb say of the air, and the MC that {timber} in it "
        "tends to.",
        (
            _temperature("dry_bulb", "Dry bulb", "60 °C"),
            _temperature("wet_bulb", "Wet bulb", "50 °C", when=given_wet),
            Field(
                "depression",
                "Depression",
                TemperatureDifference,
                "10 °C",
                ("°C", "°F"),
                "°F",
                when=given_depression,
            ),
            _altitude(mill),
        ),
        (
            Step(
                "wet_bulb",
                "Wet bulb",
                "wet_bulb_of_depression",
                {"dry_bulb": "dry_bulb", "depression": "depression"},
                when=given_depression,
            ),
            Step(
                "depression",
                "Depression",
                "depression",
                {"dry_bulb": "dry_bulb", "wet_bulb": "wet_bulb"},
                when=given_wet,
            ),
            pressure,
            Step(
                "humidity",
                "RH",
                "relative_humidity",
                {"dry_bulb": "dry_bulb", "wet_bulb": "wet_bulb", **where},
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
        ),
        f"{_BULBS_HOLD} {_EMC_HOLDS}",
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
        trusted=(Trusted("wet_bulb", _THAWED, _FROZEN), Trusted("dry_bulb", _FITTED, _COLD)),
    )
    yield Calculator(
        "set-points",
        "Set-points for a wanted EMC",
        "The wet bulb, the depression and the RH that hold an EMC at a dry bulb.",
        (
            _temperature("dry_bulb", "Dry bulb", "70 °C"),
            _percent("emc", "EMC wanted", "8 %"),
            _altitude(mill),
        ),
        (
            Step(
                "humidity",
                "RH",
                "relative_humidity_for_emc",
                {"temperature": "dry_bulb", "emc": "emc"},
            ),
            pressure,
            Step(
                "wet_bulb",
                "Wet bulb",
                "wet_bulb",
                {"dry_bulb": "dry_bulb", "relative_humidity": "humidity", **where},
            ),
            Step(
                "depression",
                "Depression",
                "depression",
                {"dry_bulb": "dry_bulb", "wet_bulb": "wet_bulb"},
            ),
        ),
        "It says what air holds this EMC, not whether the {timber} stands it: the schedule and the "
        f"species' ceiling decide that. {_BULBS_HOLD} {_EMC_HOLDS}",
        (
            ("Table of wet bulbs for an EMC", "kiln-and-air", "dry-and-wet-bulb"),
            ("Equalizing and conditioning air", "equalizing-and-conditioning", "equalizing-air"),
        ),
        trusted=(Trusted("wet_bulb", _THAWED, _FROZEN), Trusted("dry_bulb", _FITTED, _COLD)),
    )


def _sizes() -> Iterator[Calculator]:
    line = Range(*shrinkage.COEFFICIENT_MC_RANGE_PCT)
    yield Calculator(
        "shrinkage",
        "Shrinkage from green",
        "How much narrower or thinner a green size becomes at an MC.",
        (
            _size("size", "Green size", "106 mm"),
            _percent("total", "Shrinkage, green to oven-dry", "8 %"),
            _percent("mc", "MC it is dried to", "8 %"),
            _percent("fsp", "Fibre saturation point", f"{shrinkage.FIBRE_SATURATION_PCT:g} %"),
        ),
        (
            Step(
                "shrunk",
                "Shrinkage so far",
                "shrinkage_at",
                {"total": "total", "mc": "mc", "fsp": "fsp"},
            ),
            Step("left", "Size then", "shrunk_size", {"size": "size", "shrinkage": "shrunk"}),
        ),
        "A straight line below the fibre saturation point. Thick {timber} starts to shrink before "
        "its mean MC is that low, and wood that collapses shrinks more.",
        (
            ("Table of shrinkage by species", "species", "shrinkage"),
            ("Shrinkage, and why it is never even", "wood-and-water", "shrinkage"),
        ),
        timber=Timber("total", _total_shrinkage, _DIRECTION),
    )
    yield Calculator(
        "movement",
        "Movement between two climates",
        "How a dry board grows or shrinks when it is moved from one room to another and stays.",
        (
            _size("size", "Size now", "300 mm"),
            Field("coefficient", "Change per point of MC", Bare, "0.003"),
            _temperature("temperature_now", "Temperature now", "20 °C"),
            _percent("humidity_now", "RH now", "45 %"),
            _temperature("temperature_then", "Temperature later", "20 °C"),
            _percent("humidity_then", "RH later", "65 %"),
        ),
        (
            Step(
                "emc_now",
                "EMC now",
                "equilibrium_moisture_content",
                {"temperature": "temperature_now", "relative_humidity": "humidity_now"},
            ),
            Step(
                "emc_then",
                "EMC later",
                "equilibrium_moisture_content",
                {"temperature": "temperature_then", "relative_humidity": "humidity_then"},
            ),
            Step(
                "change",
                "Change of size (minus: it shrinks)",
                "dimension_change",
                {
                    "size": "size",
                    "coefficient": "coefficient",
                    "mc_from": "emc_now",
                    "mc_to": "emc_then",
                },
            ),
        ),
        f"Coefficients hold from {line.low:g} to {line.high:g} % MC. The board is taken to be at "
        "rest with the first climate now, and needs weeks or months to come to rest with the "
        "second. "
        f"{_EMC_HOLDS}",
        (
            ("Table of movement by species", "wood-and-water", "movement"),
            ("EMC of rooms and sheds", "storage-and-shipping", ""),
        ),
        timber=Timber("coefficient", _coefficient, _DIRECTION),
        trusted=tuple(
            Trusted(
                name,
                line,
                "It lies beyond the MC the coefficients are offered for: take "
                "the change of size as a rough guide.",
            )
            for name in ("emc_now", "emc_then")
        ),
    )


def _rates_and_loads() -> Iterator[Calculator]:
    yield Calculator(
        "drying-rate",
        "Drying rate per day",
        "Points of MC lost between two weighings, brought to a day of 24 hours.",
        (
            _percent("mc_from", "MC at the earlier weighing", "52.6 %"),
            _percent("mc_to", "MC at the later weighing", "49.9 %"),
            Field("time", "Time between them", Duration, "21.5 h", ("h", "d")),
        ),
        (
            Step(
                "rate",
                "Drying rate",
                "drying_rate",
                {"mc_from": "mc_from", "mc_to": "mc_to", "time": "time"},
            ),
        ),
        "A mean over the interval: a stop within it hides a faster hour. A minus sign says that "
        "the board has taken up water.",
        (
            ("Table of safe rates", "species", "safe-rates"),
            ("Drying rate", "calculations", "drying-rate"),
        ),
    )
    load = ("volume", "basic_density", "mc_from", "mc_to")
    yield Calculator(
        "water-in-load",
        "Water in a load, and the least heat",
        "How much water a load gives up, and the heat without which it cannot.",
        (
            Field("volume", "Volume of {timber}", Volume, "42.5 m³", ("m³", "bf", "mbf"), "bf"),
            Field(
                "basic_density",
                "Basic density",
                Density,
                "500 kg/m³",
                ("kg/m³", "lb/ft³"),
                "lb/ft³",
            ),
            _percent("mc_from", "MC at the start", "70 %"),
            _percent("mc_to", "MC at the end", "8 %"),
            _temperature("start_temperature", "{Timber} when loaded", "10 °C"),
            _temperature("temperature", "Kiln", "60 °C"),
        ),
        (
            Step("water", "Water removed", "water_removed", {name: name for name in load}),
            Step(
                "heat",
                "Least heat",
                "least_heat",
                {name: name for name in (*load, "start_temperature", "temperature")},
            ),
        ),
        "Volume and density are those of green {timber}. The heat is a floor: leaks, walls, vented "
        "air, the kiln itself and the fans come on top.",
        (
            ("Table of the water in a load", "kiln-and-air", "balance"),
            ("Water and heat", "calculations", "water"),
        ),
        timber=Timber("basic_density", _basic_density),
    )


def _surveys() -> Iterator[Calculator]:
    by_chance = (
        "It holds for pieces chosen at random from the whole lot, their number fixed "
        "beforehand; readings picked by hand support no share at all."
    )
    read_on = (
        ("Table of readings for a share", "final-survey-and-stress", "statistics"),
        ("Choosing boards at random", "final-survey-and-stress", "sampling"),
    )
    confidence = _percent("confidence", "Confidence", "95 %")
    yield Calculator(
        "readings-needed",
        "Readings needed to show a share",
        "How many readings, all within the limits, it takes to say that a share of the lot is.",
        (_percent("share", "Share of the lot to be within", "90 %"), confidence),
        (
            Step(
                "readings",
                "Readings needed, none outside",
                "readings_needed",
                {"share": "share", "confidence": "confidence"},
            ),
        ),
        by_chance,
        read_on,
    )
    yield Calculator(
        "share-shown",
        "Share shown by a survey",
        "What share of the lot a finished survey supports, with so many of its readings outside.",
        (
            Field("readings", "Readings taken", Bare, "60"),
            Field("failures", "Of these outside the limits", Bare, "2"),
            confidence,
        ),
        (
            Step(
                "share",
                "Share of the lot within, at least",
                "share_shown",
                {"readings": "readings", "failures": "failures", "confidence": "confidence"},
            ),
        ),
        by_chance,
        read_on,
    )
    reliable = Range(*meters.RESISTANCE_RANGE_PCT)
    yield Calculator(
        "meter-temperature",
        "Meter reading corrected for temperature",
        "A resistance reading brought to the temperature its meter was calibrated at.",
        (
            _percent("reading", "Reading", "11.5 %"),
            _temperature("wood_temperature", "Wood at the pins", "38 °C"),
            _temperature("calibration_temperature", "Calibration temperature", "20 °C"),
        ),
        (
            Step(
                "corrected",
                "Corrected reading",
                "meter_temperature_correction",
                {name: name for name in ("reading", "wood_temperature", "calibration_temperature")},
            ),
        ),
        f"A resistance meter is usable from {reliable.low:g} to {reliable.high:g} % MC. Correct "
        "once only: not where the meter has done it. Correct for the species afterwards. Frozen "
        "wood follows no rule.",
        (("Table of corrections", "final-survey-and-stress", "meter"),),
        trusted=(
            Trusted("reading", reliable, "It lies outside what a resistance meter reads reliably."),
            Trusted(
                "wood_temperature",
                Range(0.0, meters.WOOD_TEMP_RANGE_C[1]),
                "Frozen wood follows no such rule.",
            ),
        ),
    )
