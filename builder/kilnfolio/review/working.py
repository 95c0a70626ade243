"""Formulas as a teacher writes them on the board, with the values put in.

One registry serves the review, which keeps the working of every number it publishes, and the
handbook, whose examples and problems are computed at build. Each entry names the physics function
that does the sum; nothing is calculated here.

A value may be given as a float in the house unit of its dimension or as a `Quantity`, whose words
as entered are then shown.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from kilnfolio.physics import (
    air,
    heat,
    meters,
    moisture,
    rules,
    shrinkage,
    sorption,
    sums,
    survey,
    water,
)
from kilnfolio.records.quantities import (
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
)
from kilnfolio.review import figures
from kilnfolio.review.dossier import Working
from kilnfolio.review.figures import NBSP, measure, number
from kilnfolio.review.limits import LimitBook, Subject


class Bare(Quantity):
    """A number without a unit: a count, a coefficient, a specific gravity."""

    dimension, unit, example = "number", "", "0.56"
    units: ClassVar[dict[str, Callable[[float], float]]] = {"": float}
    bare_unit = ""


class Points(Percent):
    """A difference of two percentages [points]."""

    dimension, unit, example = "number of points", "points", "1.5 points"
    units: ClassVar[dict[str, Callable[[float], float]]] = {"points": float, "%": float}


class Kilograms(Quantity):
    """A mass of water [kg]."""

    dimension, unit, example = "mass of water", "kg", "280 kg"
    units: ClassVar[dict[str, Callable[[float], float]]] = {"kg": float}


#: The dimensions a value of any kind is tried as, in this order.
ANY: tuple[type[Quantity], ...] = (
    Percent,
    Mass,
    Length,
    Temperature,
    TemperatureDifference,
    Volume,
    Duration,
    Rate,
    Energy,
    Pressure,
    Density,
    Speed,
    Points,
)
#: Dimensions whose results are printed in both unit systems; a balance shows one unit.
_TWO_SYSTEMS = (Temperature, TemperatureDifference, Length, Volume, Energy, Pressure)

Given = Quantity | tuple[Quantity, ...] | str | None


@dataclass(frozen=True)
class Argument:
    """One value a formula takes."""

    name: str
    """As the handbook and the review call it."""
    of: type[Quantity] = Quantity
    """Its dimension; `Quantity` itself takes any."""
    many: bool = False
    """A list of such values."""
    optional: bool = False
    """It may be left out."""
    default: str = ""
    """What is put in where it is left out, as a person would write it; none where empty."""
    choices: tuple[str, ...] = ()
    """The words it may be, where it is a word."""
    limit: str = ""
    """The mill's limit that is put in where it is left out; see `with_limits`."""


@dataclass(frozen=True)
class Formula:
    """A sum the book and the review may use."""

    name: str
    """What `compute` calls it."""
    function: Callable[..., Any]
    """Physics, by keyword in house units."""
    arguments: tuple[Argument, ...]
    """What it takes."""
    symbols: str
    """The formula in symbols."""
    put_in: str | Callable[[Mapping[str, Given]], str]
    """The right-hand side with ``{argument}`` for values, or a function that writes it."""
    source: str
    """Where the formula stands."""
    of: type[Quantity] | None = None
    """Dimension of the result; None: that of what is put in."""
    decimals: int = 1
    """Digits after the point in the result."""
    unit: str = ""
    """Unit the result is printed in, where it is not the house unit."""

    def argument(self, name: str) -> Argument | None:
        """Return the argument of this name."""
        return next((one for one in self.arguments if one.name == name), None)


@dataclass(frozen=True)
class Result:
    """What a formula gave."""

    value: float | tuple[float, float]
    """In the house unit; two values for an interval."""
    quantity: Quantity
    """The value with its rounded words; the lower end of an interval."""
    text: str
    """As printed: both unit systems where they differ."""
    working: Working
    """The board."""


class WrongArgumentsError(ValueError):
    """A formula was given an argument it does not take, or lacks one; `argument` names it."""

    def __init__(self, argument: str, message: str, instead: str = ""):
        super().__init__(message)
        self.argument, self.instead = argument, instead


def work(formula_name: str, label: str, /, **values: Any) -> tuple[float, Working]:
    """Compute one number and show how.

    Parameters
    ----------
    formula_name : str
        A key of `FORMULAS`.
    label : str
        What the number is, as in 'MC of board S1'.
    **values
        The formula's arguments: floats in house units, `Quantity`, lists of them, or words.

    Returns
    -------
    tuple of float and Working
        The unrounded value in the house unit, and the board.

    Raises
    ------
    WrongArgumentsError
        An argument is unknown or missing.
    ValueError
        Physics refuses a value, or the formula gives an interval, not a number.
    """
    result = evaluate(FORMULAS[formula_name], label, values)
    if isinstance(result.value, tuple):
        raise ValueError(f"{formula_name} gives an interval; use evaluate")
    return result.value, result.working


def evaluate(formula: Formula, label: str, values: Mapping[str, Any]) -> Result:
    """Compute a formula with values as `work` takes them, and keep the result with its words."""
    for name in values:
        if formula.argument(name) is None:
            raise WrongArgumentsError(
                name,
                f"{formula.name} takes no '{name}'",
                "It takes " + ", ".join(a.name for a in formula.arguments),
            )
    given = {
        argument.name: _given(formula, argument, values.get(argument.name))
        for argument in formula.arguments
    }
    raw = formula.function(**{name: _bare(value) for name, value in given.items()})
    dimension = formula.of or _common_dimension(formula, given)
    put_in = formula.put_in
    substituted = put_in(given) if callable(put_in) else _substitute(put_in, given)
    ends = [
        _printed(formula, dimension, end, given)
        for end in (raw if isinstance(raw, tuple) else (raw,))
    ]
    quantity = ends[0]
    text = " to ".join(_side_by_side(end) for end in ends)
    working = Working(
        name=label,
        formula=formula.symbols,
        substituted=substituted,
        result=text,
        source=formula.source,
    )
    value = tuple(map(float, raw)) if isinstance(raw, tuple) else float(raw)
    return Result(value, quantity, text, working)  # type: ignore[arg-type]


def with_limits(formula: Formula, values: Mapping[str, Any], limits: LimitBook) -> dict[str, Any]:
    """Return the values with the mill's limits put in where the formula takes one.

    Parameters
    ----------
    formula : Formula
        The formula.
    values : mapping
        What is given; a `kind` among them chooses between limits for hardwood and softwood.
    limits : LimitBook
        The mill's limits.

    Raises
    ------
    NoLimit
        The mill's limits have none that fits.
    """
    subject = Subject(kind=str(values["kind"]) if "kind" in values else None)
    return dict(values) | {
        argument.name: argument.of.parse(
            f"{limits.value(argument.limit, subject):g} {argument.of.unit}".strip()
        )
        for argument in formula.arguments
        if argument.limit and argument.name not in values
    }


def parse_any(text: object) -> Quantity:
    """Return a quantity of whichever dimension its unit names.

    Raises
    ------
    ValueError
        No dimension takes it.
    """
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        return Bare.parse(text)
    if re.fullmatch(r"\d+/4", str(text).strip()):
        return Length.parse(text)  # quarters of an inch, as hardwood is sold
    for dimension in ANY:
        try:
            return dimension.parse(text)
        except ValueError:
            continue
    try:
        return Bare.parse(text)
    except ValueError:
        units = dict.fromkeys(unit for dimension in ANY for unit in dimension.units)
        raise ValueError(
            "it is not a number with a unit this book knows: " + ", ".join(units)
        ) from None


# --- what was put in ------------------------------------------------------------------------------


def _given(formula: Formula, argument: Argument, value: Any) -> Given:
    if value is None:
        if argument.default:
            return argument.of.parse(argument.default)
        if argument.optional:
            return None
        raise WrongArgumentsError(
            argument.name, f"{formula.name} needs '{argument.name}'", f"Add '{argument.name}: …'"
        )
    if argument.choices:
        if value not in argument.choices:
            raise WrongArgumentsError(
                argument.name,
                f"{argument.name} is {value!r}",
                "Write " + " or ".join(argument.choices),
            )
        return str(value)
    if argument.many:
        if isinstance(value, (str, Quantity)) or not isinstance(value, Sequence):
            value = (value,) if isinstance(value, (str, Quantity, float, int)) else tuple(value)
        return tuple(_quantity(argument, one) for one in value)
    return _quantity(argument, value)


def _quantity(argument: Argument, value: Any) -> Quantity:
    if isinstance(value, Quantity):
        fits = argument.of in (Quantity, type(value)) or isinstance(value, argument.of)
        if not fits and not (argument.of is Bare and isinstance(value, Bare)):
            raise WrongArgumentsError(
                argument.name,
                f"{argument.name} is a {value.dimension}, {value.entered}",
                f"A {argument.of.dimension} is needed here, as in '{argument.of.example}'",
            )
        return value
    dimension = Bare if argument.of is Quantity else argument.of
    return dimension(float(value), _plain_words(float(value), dimension))


def _plain_words(value: float, dimension: type[Quantity]) -> str:
    """Write a bare float as if entered: to the decimals its dimension is printed with."""
    decimals = _DECIMALS.get(dimension)
    words = f"{value:g}" if decimals is None else f"{value:.{decimals}f}"
    return f"{words} {dimension.unit}".strip()


def _bare(value: Given) -> Any:
    if isinstance(value, tuple):
        return [one.value for one in value]
    return value.value if isinstance(value, Quantity) else value


def _common_dimension(formula: Formula, given: Mapping[str, Given]) -> type[Quantity]:
    kinds: list[type[Quantity]] = []
    for value in given.values():
        kinds += [
            type(one)
            for one in (value if isinstance(value, tuple) else (value,))
            if isinstance(one, Quantity)
        ]
    first = kinds[0]
    for kind in kinds[1:]:
        if not (issubclass(kind, first) or issubclass(first, kind)):
            raise WrongArgumentsError(
                next(iter(given)),
                f"the values are of different kinds: {first.dimension} and {kind.dimension}",
                "Give one kind only",
            )
    if formula.name in ("difference", "combined_uncertainty", "standard_deviation"):
        return _DIFFERENCES.get(first, first)
    return first


#: What the difference of two such values is.
_DIFFERENCES: dict[type[Quantity], type[Quantity]] = {
    Percent: Points,
    Temperature: TemperatureDifference,
}


def words_of(value: Given) -> str:
    """Return a value as entered, for prose: both unit systems where they differ."""
    if isinstance(value, tuple):
        return listed(value)
    return _side_by_side(value) if isinstance(value, Quantity) else str(value)


def listed(values: Sequence[Quantity]) -> str:
    """Return a list of values, the unit once where they share it: ``55.2, 56.1 and 56.4 °C``."""
    words = [figures.as_entered(value) for value in values]
    heads = [word.rpartition(NBSP) for word in words]
    if len({unit for _, _, unit in heads}) == 1 and all(head for head, _, _ in heads):
        words = [head for head, _, _ in heads[:-1]] + [words[-1]]
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _side_by_side(quantity: Quantity) -> str:
    if isinstance(quantity, _TWO_SYSTEMS):
        return figures.side_by_side(quantity)
    if isinstance(quantity, Kilograms):
        pounds = figures.customary(quantity.value * 1000.0, Mass)
        return f"{figures.as_entered(quantity)} ({pounds})"
    return figures.as_entered(quantity)


def _substitute(pattern: str, given: Mapping[str, Given]) -> str:
    return re.sub(r"\{(\w+)\}", lambda match: _term(given[match[1]]), pattern)


def _term(value: Given) -> str:
    """Return a value inside a formula: metric for temperatures, else the unit it was entered in."""
    if isinstance(value, tuple):
        return " + ".join(map(_term, value))
    if isinstance(value, Temperature) and "F" in value.entered:
        return figures.metric(value.value, Temperature)
    if isinstance(value, Quantity):
        words = figures.as_entered(value)
        return f"({words})" if words.startswith(figures.MINUS) else words
    return str(value)


# --- what came out --------------------------------------------------------------------------------

#: Decimals of a result by dimension; others take the formula's own.
_DECIMALS: dict[type[Quantity], int] = {
    Temperature: 1,
    Percent: 1,
    Points: 1,
    Mass: 1,
    Rate: 1,
    Length: 1,
}
_MASS_DECIMALS = {"g": 1, "kg": 3, "lb": 2, "oz": 1}


def _printed(
    formula: Formula, dimension: type[Quantity], value: float, given: Mapping[str, Given]
) -> Quantity:
    """Return a result as a quantity whose words are its rounded value."""
    unit, decimals = formula.unit or dimension.unit, formula.decimals
    if dimension is Mass:
        unit = _mass_unit(given)
        decimals = _MASS_DECIMALS[unit]
    shown = value / dimension.units[unit](1.0) if formula.unit or dimension is Mass else value
    return dimension(float(value), f"{shown:.{decimals}f} {unit}".strip())


def _mass_unit(given: Mapping[str, Given]) -> str:
    for value in given.values():
        first = value[0] if isinstance(value, tuple) and value else value
        if isinstance(first, Mass):
            unit = first.entered.split()[-1].lstrip("0123456789.")
            return unit if unit in _MASS_DECIMALS else "g"
    return "g"


# --- adapters: composing physics and converting units, never a sum of their own -------------


def _pressure(altitude: float | None, pressure: float | None) -> float:
    if pressure is not None:
        return pressure
    return float(air.pressure_at_altitude((altitude or 0.0) / 1000.0))


def _humidity(
    dry_bulb: float, wet_bulb: float, altitude: float | None, pressure: float | None
) -> float:
    return float(air.relative_humidity(dry_bulb, wet_bulb, _pressure(altitude, pressure)))


def _emc_of_bulbs(
    dry_bulb: float, wet_bulb: float, altitude: float | None, pressure: float | None
) -> float:
    humidity = _humidity(dry_bulb, wet_bulb, altitude, pressure)
    return float(sorption.equilibrium_moisture_content(dry_bulb, humidity))


def _wet_bulb(
    dry_bulb: float, relative_humidity: float, altitude: float | None, pressure: float | None
) -> float:
    return float(air.wet_bulb(dry_bulb, relative_humidity, _pressure(altitude, pressure)))


def _run(interval: float, temperatures: list[float], threshold: float) -> float:
    minutes = [count * interval * 60.0 for count in range(len(temperatures))]
    return heat.longest_run_above(minutes, temperatures, threshold) / 60.0


def _interval(mean: float, sd: float, readings: float, confidence: float) -> tuple[float, float]:
    return tuple(survey.confidence_interval(mean, sd, readings, confidence / 100.0))


def _tolerance(
    mean: float, sd: float, readings: float, share: float, confidence: float
) -> tuple[float, float]:
    return tuple(
        sums.tolerance_limits_of(mean, sd, int(readings), share / 100.0, confidence / 100.0)
    )


def _bulbs_put_in(given: Mapping[str, Given]) -> str:
    values = {name: _bare(value) for name, value in given.items()}
    pressure = _pressure(values["altitude"], values["pressure"])
    at_wet, at_dry = (
        measure(float(air.saturation_pressure(values[name])) / 1000.0, "kPa", 3)
        for name in ("wet_bulb", "dry_bulb")
    )
    return (
        f"100 × [{at_wet} − {air.VENTILATED_COEFFICIENT:.6f} × "
        f"{measure(pressure / 1000.0, 'kPa', 2)} × ({_term(given['dry_bulb'])} − "
        f"{_term(given['wet_bulb'])})] ÷ {at_dry}"
    )


def _emc_put_in(given: Mapping[str, Given]) -> str:
    return _emc_at(_bare(given["temperature"]), _bare(given["relative_humidity"]))


def _emc_at(temp_c: float, humidity_pct: float) -> str:
    """Return the letters of the EMC equation at a temperature and RH."""
    w, k, k1, k2 = (float(value) for value in sorption.coefficients(temp_c))
    return (
        f"the same with t = {measure(temp_c, '°C', 1)}: W = {number(w, 1)}, K = {number(k, 4)}, "
        f"K₁ = {number(k1, 3)}, K₂ = {number(k2, 3)}; h = {number(humidity_pct / 100.0, 3)}"
    )


def _emc_bulbs_put_in(given: Mapping[str, Given]) -> str:
    values = {name: _bare(value) for name, value in given.items()}
    humidity = _humidity(**values)
    return (
        f"RH = {_bulbs_put_in(given)} = {measure(humidity, '%', 1)}; then EMC, "
        f"{_emc_at(values['dry_bulb'], humidity)}"
    )


def _wet_bulb_put_in(given: Mapping[str, Given]) -> str:
    pressure = _pressure(_bare(given["altitude"]), _bare(given["pressure"]))
    return (
        f"solved for DB = {_term(given['dry_bulb'])}, RH = {_term(given['relative_humidity'])}, "
        f"p = {measure(pressure / 1000.0, 'kPa', 2)}"
    )


def _mean_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    return f"({_term(values)}) ÷ {len(values)}"


def _wettest_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    wettest = tuple(
        values[place] for place in moisture.controlling_boards([v.value for v in values])
    )
    return f"({_term(wettest)}) ÷ {len(wettest)}"


def _squares_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    return "√(" + " + ".join(f"({_term(value)})²" for value in values) + ")"


def _deviation_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    middle = measure(sums.mean(_bare(values)), values[0].unit, 2)
    first, last = _term(values[0]), _term(values[-1])
    return f"√{{[({first} − {middle})² + … + ({last} − {middle})²] ÷ ({len(values)} − 1)}}"


def _run_put_in(given: Mapping[str, Given]) -> str:
    values = given["temperatures"]
    assert isinstance(values, tuple)
    return (
        f"readings every {_term(given['interval'])}: {listed(values)}; held at or above "
        f"{_term(given['threshold'])}"
    )


def _interval_put_in(given: Mapping[str, Given]) -> str:
    values = {name: _bare(value) for name, value in given.items()}
    half = sums.difference(_interval(**values)[1], values["mean"])
    return (
        f"{_term(given['mean'])} ± t × {_term(given['sd'])} ÷ √{_term(given['readings'])}, "
        f"t for {_term(given['confidence'])} = {_term(given['mean'])} ± {measure(half, '%', 2)}"
    )


def _tolerance_put_in(given: Mapping[str, Given]) -> str:
    values = {name: _bare(value) for name, value in given.items()}
    factor = survey.tolerance_factor(
        values["readings"], values["share"] / 100.0, values["confidence"] / 100.0
    )
    return f"{_term(given['mean'])} ± {number(float(factor), 2)} × {_term(given['sd'])}"


def _conditioning_put_in(given: Mapping[str, Given]) -> str:
    return f"{_term(given['target'])} + {_term(given['above'])} for a {given['kind']}"


def _pressure_put_in(given: Mapping[str, Given]) -> str:
    altitude = given["altitude"]
    return f"the standard atmosphere at {_term(altitude)}"


# --- the registry ---------------------------------------------------------------------------------

_MASS, _OVEN_DRY = Argument("mass", Mass), Argument("oven_dry_mass", Mass)
_MC, _FROM, _TO = (Argument(name, Percent) for name in ("mc", "mc_from", "mc_to"))
_DB, _WB = Argument("dry_bulb", Temperature), Argument("wet_bulb", Temperature)
_RH = Argument("relative_humidity", Percent)
_TEMPERATURE, _EMC = Argument("temperature", Temperature), Argument("emc", Percent)
_PLACE = (
    Argument("altitude", Length, optional=True),
    Argument("pressure", Pressure, optional=True),
)
_OF = Argument("of", many=True)
_VOLUME, _DENSITY = Argument("volume", Volume), Argument("basic_density", Density)
_SHARE, _CONFIDENCE = Argument("share", Percent), Argument("confidence", Percent)
_READINGS, _SD, _MEAN = (
    Argument("readings", Bare),
    Argument("sd", Percent),
    Argument("mean", Percent),
)
_TARGET = Argument("target", Percent)
_BELOW = Argument("below", Points, limit="equalizing-below-target")
_SIZE = Argument("size", Length)
_FSP = Argument("fsp", Percent, default=f"{shrinkage.FIBRE_SATURATION_PCT:g} %")

_PSYCHROMETER = "RH = 100 × [psat(WB) − A × p × (DB − WB)] ÷ psat(DB)"
_SATURATION = "saturation pressure: ASHRAE Fundamentals, ch. 1, eqs. 5 and 6"
_VENTILATED = (
    f"ventilated wet bulb, A = {air.VENTILATED_COEFFICIENT:.6f} per °C (common practice); "
    f"{_SATURATION}"
)
_HAILWOOD = (
    "EMC = 1800/W × [Kh ÷ (1 − Kh) + (K₁Kh + 2K₁K₂K²h²) ÷ (1 + K₁Kh + K₁K₂K²h²)], "
    "with W, K, K₁ and K₂ from t"
)
_EQ_4_5 = "wood-handbook, eq. 4-5"
_WENGERT = "wengert-extension"

_ALL = (
    Formula(
        "moisture_content",
        moisture.moisture_content,
        (_MASS, _OVEN_DRY),
        "MC = 100 × (m − m₀) ÷ m₀",
        "100 × ({mass} − {oven_dry_mass}) ÷ {oven_dry_mass}",
        "en-13183-1",
        Percent,
    ),
    Formula(
        "oven_dry_mass",
        lambda mass, mc: moisture.oven_dry_mass(mass, mc),
        (_MASS, _MC),
        "m₀ = m ÷ (1 + MC ÷ 100 %)",
        "{mass} ÷ (1 + {mc} ÷ 100 %)",
        _WENGERT,
        Mass,
    ),
    Formula(
        "mass_at",
        lambda oven_dry_mass, mc: moisture.mass_at(oven_dry_mass, mc),
        (_OVEN_DRY, _MC),
        "m = m₀ × (1 + MC ÷ 100 %)",
        "{oven_dry_mass} × (1 + {mc} ÷ 100 %)",
        _WENGERT,
        Mass,
    ),
    Formula(
        "wet_basis",
        lambda mc: moisture.wet_basis(mc),
        (_MC,),
        "wet-basis MC = 100 × MC ÷ (100 % + MC)",
        "100 × {mc} ÷ (100 % + {mc})",
        "the definition",
        Percent,
    ),
    Formula(
        "mean",
        lambda of: sums.mean(of),
        (_OF,),
        "mean = (x₁ + x₂ + …) ÷ n",
        _mean_put_in,
        "the definition",
    ),
    Formula(
        "sum", lambda of: sums.total(of), (_OF,), "sum = x₁ + x₂ + …", "{of}", "the definition"
    ),
    Formula(
        "difference",
        sums.difference,
        (Argument("a"), Argument("b")),
        "difference = a − b",
        "{a} − {b}",
        "the definition",
    ),
    Formula(
        "standard_deviation",
        lambda of: survey.summarize(of).sd,
        (_OF,),
        "s = √{[(x₁ − mean)² + (x₂ − mean)² + …] ÷ (n − 1)}",
        _deviation_put_in,
        "the definition",
        decimals=2,
    ),
    Formula(
        "combined_uncertainty",
        lambda of: sums.combined_uncertainty(of),
        (_OF,),
        "u = √(u₁² + u₂² + …)",
        _squares_put_in,
        "JCGM 100:2008, 5.1.2",
    ),
    Formula(
        "controlling_moisture_content",
        lambda of: moisture.controlling_moisture_content(of),
        (Argument("of", Percent, many=True),),
        "controlling MC = mean of the wettest half, an odd number rounded up",
        _wettest_put_in,
        "common practice",
        Percent,
    ),
    Formula(
        "drying_rate",
        lambda mc_from, mc_to, time: moisture.drying_rate(mc_from, mc_to, time),
        (_FROM, _TO, Argument("time", Duration)),
        "rate = (MC₁ − MC₂) × 24 h ÷ time",
        "({mc_from} − {mc_to}) × 24 h ÷ {time}",
        "common practice",
        Rate,
    ),
    Formula(
        "relative_humidity",
        _humidity,
        (_DB, _WB, *_PLACE),
        _PSYCHROMETER,
        _bulbs_put_in,
        _VENTILATED,
        Percent,
    ),
    Formula(
        "equilibrium_moisture_content",
        lambda temperature, relative_humidity: sorption.equilibrium_moisture_content(
            temperature, relative_humidity
        ),
        (_TEMPERATURE, _RH),
        _HAILWOOD,
        _emc_put_in,
        _EQ_4_5,
        Percent,
    ),
    Formula(
        "emc_from_bulbs",
        _emc_of_bulbs,
        (_DB, _WB, *_PLACE),
        f"{_PSYCHROMETER}, then {_HAILWOOD}",
        _emc_bulbs_put_in,
        f"{_VENTILATED}; EMC: {_EQ_4_5}",
        Percent,
    ),
    Formula(
        "wet_bulb",
        _wet_bulb,
        (_DB, _RH, *_PLACE),
        f"WB at which {_PSYCHROMETER}",
        _wet_bulb_put_in,
        _VENTILATED,
        Temperature,
    ),
    Formula(
        "dew_point",
        lambda dry_bulb, relative_humidity: air.dew_point(dry_bulb, relative_humidity),
        (_DB, _RH),
        "temperature at which psat(t) = RH ÷ 100 % × psat(DB)",
        "solved for DB = {dry_bulb}, RH = {relative_humidity}",
        _SATURATION,
        Temperature,
    ),
    Formula(
        "relative_humidity_for_emc",
        lambda temperature, emc: sorption.relative_humidity_for_emc(temperature, emc),
        (_TEMPERATURE, _EMC),
        "RH at which the EMC equation gives the wanted EMC",
        "solved for t = {temperature}, EMC = {emc}",
        _EQ_4_5,
        Percent,
    ),
    Formula(
        "saturation_pressure",
        lambda temperature: air.saturation_pressure(temperature),
        (_TEMPERATURE,),
        "psat(t), Hyland and Wexler's equation",
        "psat({temperature})",
        "ashrae-fundamentals, ch. 1, eqs. 5 and 6",
        Pressure,
        3,
        "kPa",
    ),
    Formula(
        "pressure_at_altitude",
        lambda altitude: _pressure(altitude, None),
        (Argument("altitude", Length),),
        "p = 101.325 kPa × (1 − 2.25577 × 10⁻⁵ × z)^5.2559, z in m",
        _pressure_put_in,
        "ICAO Doc 7488",
        Pressure,
        2,
        "kPa",
    ),
    Formula(
        "shrinkage_at",
        lambda total, mc, fsp: shrinkage.shrinkage_at(total, mc, fsp),
        (Argument("total", Percent), _MC, _FSP),
        "S = S₀ × (FSP − MC) ÷ FSP, and 0 above the FSP",
        "{total} × ({fsp} − {mc}) ÷ {fsp}",
        "wood-handbook, eq. 4-9",
        Percent,
    ),
    Formula(
        "shrunk_size",
        lambda size, shrinkage: sums.shrunk_size(size, shrinkage),
        (_SIZE, Argument("shrinkage", Percent)),
        "D = D(green) × (1 − S ÷ 100 %)",
        "{size} × (1 − {shrinkage} ÷ 100 %)",
        "wood-handbook, p. 4-6",
        Length,
    ),
    Formula(
        "green_size",
        lambda dry_size, shrinkage: sums.green_size(dry_size, shrinkage),
        (Argument("dry_size", Length), Argument("shrinkage", Percent)),
        "D(green) = D ÷ (1 − S ÷ 100 %)",
        "{dry_size} ÷ (1 − {shrinkage} ÷ 100 %)",
        "wood-handbook, p. 4-6",
        Length,
    ),
    Formula(
        "dimension_change",
        lambda size, coefficient, mc_from, mc_to: shrinkage.dimension_change(
            size, coefficient, mc_from, mc_to
        ),
        (_SIZE, Argument("coefficient", Bare), _FROM, _TO),
        "ΔD = D × C × (MC₂ − MC₁)",
        "{size} × {coefficient} per % × ({mc_to} − {mc_from})",
        "wood-handbook-2010, eq. 13-2",
        Length,
    ),
    Formula(
        "water_removed",
        lambda volume, basic_density, mc_from, mc_to: water.water_removed(
            volume, basic_density, mc_from, mc_to
        ),
        (_VOLUME, _DENSITY, _FROM, _TO),
        "water = V × basic density × (MC₁ − MC₂) ÷ 100 %",
        "{volume} × {basic_density} × ({mc_from} − {mc_to}) ÷ 100 %",
        "the definition",
        Kilograms,
        0,
    ),
    Formula(
        "least_heat",
        lambda volume, basic_density, mc_from, mc_to, start_temperature, temperature: (
            water.least_heat(volume, basic_density, mc_from, mc_to, start_temperature, temperature)
        ),
        (
            _VOLUME,
            _DENSITY,
            _FROM,
            _TO,
            Argument("start_temperature", Temperature, default="20 °C"),
            Argument("temperature", Temperature, default="60 °C"),
        ),
        "least heat = warming wood and water + evaporating the water + freeing its bound part",
        "{volume} at {basic_density}, {mc_from} to {mc_to}, warmed from {start_temperature} "
        "to {temperature}",
        "wood-handbook-2010, eqs. 4-16 and 4-17; heat of sorption from memory",
        Energy,
        0,
    ),
    Formula(
        "longest_run_above",
        _run,
        (
            Argument("interval", Duration),
            Argument("temperatures", Temperature, many=True),
            Argument("threshold", Temperature),
        ),
        "longest run = last − first time of the longest unbroken set of readings at or above it",
        _run_put_in,
        "ispm-15, annex 1",
        Duration,
        0,
        "min",
    ),
    Formula(
        "share_shown",
        lambda readings, failures, confidence: (
            survey.share_shown(readings, failures, confidence / 100.0) * 100.0
        ),
        (_READINGS, Argument("failures", Bare), _CONFIDENCE),
        "the least share for which so few failures in n have a chance of 100 % − confidence; "
        "without failures, (1 − confidence)^(1/n)",
        "n = {readings}, failures = {failures}, confidence = {confidence}",
        "Clopper and Pearson, Biometrika 26 (1934)",
        Percent,
    ),
    Formula(
        "readings_needed",
        lambda share, confidence: survey.readings_needed(share / 100.0, confidence / 100.0),
        (_SHARE, _CONFIDENCE),
        "the least n with share^n ≤ 1 − confidence, none failing",
        "share = {share}, confidence = {confidence}",
        "Clopper and Pearson, Biometrika 26 (1934)",
        Bare,
        0,
    ),
    Formula(
        "confidence_interval",
        _interval,
        (_MEAN, _SD, _READINGS, _CONFIDENCE),
        "mean ± t × s ÷ √n",
        _interval_put_in,
        "Student's t; NIST e-Handbook, 7.2.2.1",
        Percent,
    ),
    Formula(
        "tolerance_limits",
        _tolerance,
        (_MEAN, _SD, _READINGS, _SHARE, _CONFIDENCE),
        "mean ± k × s, k for n readings, share and confidence",
        _tolerance_put_in,
        "ISO 16269-6:2014",
        Percent,
    ),
    Formula(
        "mean_for_share_below",
        lambda limit, sd, share: survey.mean_for_share_below(limit, sd, share / 100.0),
        (Argument("limit", Percent), _SD, _SHARE),
        "mean = limit − z × s, z for the share",
        "{limit} − z × {sd}, z for {share}",
        "the normal distribution",
        Percent,
    ),
    Formula(
        "meter_temperature_correction",
        lambda reading, wood_temperature, calibration_temperature: meters.reading_at_calibration(
            reading, wood_temperature, calibration_temperature
        ),
        (
            Argument("reading", Percent),
            Argument("wood_temperature", Temperature),
            Argument("calibration_temperature", Temperature),
        ),
        "corrected = reading − 0.5 % × (t(wood) − t(calibration)) ÷ 5.6 K",
        "{reading} − 0.5 % × ({wood_temperature} − {calibration_temperature}) ÷ 5.6 K",
        "wood-handbook-2010, p. 13-3",
        Percent,
    ),
    Formula(
        "equalizing_start",
        lambda target, below: rules.equalizing_start(target, below),
        (_TARGET, _BELOW),
        "driest board at the start = target − the points the mill's limits give",
        "{target} − {below}",
        _WENGERT,
        Percent,
    ),
    Formula(
        "equalizing_emc",
        lambda target, below: rules.equalizing_emc(target, below),
        (_TARGET, _BELOW),
        "equalizing EMC = target − the points the mill's limits give",
        "{target} − {below}",
        "dry-kiln-operators-manual, ch. 7, from memory",
        Percent,
    ),
    Formula(
        "conditioning_emc",
        lambda target, kind, above: rules.conditioning_emc(target, above),  # noqa: ARG005  named in words only
        (
            _TARGET,
            Argument("kind", choices=("hardwood", "softwood")),
            Argument("above", Points, limit="conditioning-above-target"),
        ),
        "conditioning EMC = target + the points the mill's limits give",
        _conditioning_put_in,
        "dry-kiln-operators-manual, ch. 7, from memory",
        Percent,
    ),
    Formula(
        "thickness_scaled_rate",
        lambda rate, thickness, divisor: rules.thickness_scaled_rate(rate, thickness, divisor),
        (
            Argument("rate", Rate),
            Argument("thickness", Length),
            Argument("divisor", Bare, limit="thick-stock-divisor"),
        ),
        "rate at thickness d = rate at 4/4 ÷ k^log₂(d ÷ 25.4 mm), so that twice the thickness "
        "takes 1/k",
        "{rate} ÷ {divisor}^log₂({thickness} ÷ 25.4 mm)",
        _WENGERT,
        Rate,
    ),
    Formula(
        "volume",
        lambda pieces, thickness, width, length: sums.volume_of_pieces(
            pieces, thickness, width, length
        ),
        (
            Argument("pieces", Bare),
            *(Argument(name, Length) for name in ("thickness", "width", "length")),
        ),
        "V = pieces × thickness × width × length",
        "{pieces} × {thickness} × {width} × {length}",
        "the definition",
        Volume,
        3,
    ),
    Formula(
        "maximum_mc",
        lambda basic_specific_gravity: moisture.maximum_moisture_content(basic_specific_gravity),
        (Argument("basic_specific_gravity", Bare),),
        "MC(max) = 100 × (1.54 − G) ÷ (1.54 × G)",
        "100 × (1.54 − {basic_specific_gravity}) ÷ (1.54 × {basic_specific_gravity})",
        "wood-handbook, eq. 4-3",
        Percent,
        0,
    ),
)

#: Every formula by the name `compute` calls it.
FORMULAS: Mapping[str, Formula] = {formula.name: formula for formula in _ALL}
