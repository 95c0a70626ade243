"""The load and its end: shrinkage, water and heat, survey, meters, equalizing."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.physics import (
    heat,
    meters,
    moisture,
    rules,
    shrinkage,
    strength,
    sums,
    survey,
    water,
)
from kilnfolio.records.quantities import (
    Density,
    Duration,
    Energy,
    Length,
    Percent,
    Rate,
    Temperature,
    Volume,
)
from kilnfolio.review.figures import measure, number
from kilnfolio.review.working import (
    Argument,
    Bare,
    Formula,
    Given,
    Kilograms,
    Points,
    Stress,
    bare,
    listed,
    term,
)

_MC, _FROM, _TO = (Argument(name, Percent) for name in ("mc", "mc_from", "mc_to"))
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

_WENGERT = "wengert-extension"


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


def _run_put_in(given: Mapping[str, Given]) -> str:
    values = given["temperatures"]
    assert isinstance(values, tuple)
    return (
        f"readings every {term(given['interval'])}: {listed(values)}; held at or above "
        f"{term(given['threshold'])}"
    )


def _interval_put_in(given: Mapping[str, Given]) -> str:
    values = {name: bare(value) for name, value in given.items()}
    half = sums.difference(_interval(**values)[1], values["mean"])
    return (
        f"{term(given['mean'])} ± t × {term(given['sd'])} ÷ √{term(given['readings'])}, "
        f"t for {term(given['confidence'])} = {term(given['mean'])} ± {measure(half, '%', 2)}"
    )


def _tolerance_put_in(given: Mapping[str, Given]) -> str:
    values = {name: bare(value) for name, value in given.items()}
    factor = survey.tolerance_factor(
        values["readings"], values["share"] / 100.0, values["confidence"] / 100.0
    )
    return f"{term(given['mean'])} ± {number(float(factor), 2)} × {term(given['sd'])}"


def _more(share: float, confidence: float, failures: float, readings: float) -> float:
    needed = survey.readings_needed(share / 100.0, confidence / 100.0, int(failures))
    return max(0.0, float(needed) - readings)


def _movement_put_in(given: Mapping[str, Given]) -> str:
    total, fsp, start, end = (
        float(bare(given[name])) for name in ("total", "fsp", "mc_from", "mc_to")
    )
    first = measure(float(shrinkage.shrinkage_at(total, start, fsp)), "%", 2)
    before, after = (measure(min(mc, fsp), "%", 1) for mc in (start, end))
    return (
        f"{term(given['size'])} × {term(given['total'])} × ({after} − {before}) ÷ "
        f"[{term(given['fsp'])} × (100 % − {first})]"
    )


def _within_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    ends = [
        f"{words} {term(given[name])}"
        for name, words in (("lowest", "from"), ("highest", "to"))
        if given[name] is not None
    ]
    return f"{len(values)} readings against the order: {' '.join(ends) or 'no limit'}"


def _together_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    return f"√[({' + '.join(f'({term(value)})²' for value in values)}) ÷ {len(values)}]"


def _conditioning_put_in(given: Mapping[str, Given]) -> str:
    return f"{term(given['target'])} + {term(given['above'])} for a {given['kind']}"


#: In the order the guide lists them.
LOAD = (
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
        "timber_mass",
        lambda volume, basic_density, mc: water.timber_mass(volume, basic_density, mc),
        (_VOLUME, _DENSITY, _MC),
        "mass = V × basic density × (1 + MC ÷ 100 %)",
        "{volume} × {basic_density} × (1 + {mc} ÷ 100 %)",
        "the definition",
        Kilograms,
        0,
    ),
    Formula(
        "bound_water",
        lambda mc, fsp: water.split_water(mc, fsp).bound,
        (_MC, _FSP),
        "bound water = the smaller of MC and FSP",
        "the smaller of {mc} and {fsp}",
        "wood-handbook, ch. 4",
        Percent,
    ),
    Formula(
        "free_water",
        lambda mc, fsp: water.split_water(mc, fsp).free,
        (_MC, _FSP),
        "free water = MC − FSP, and 0 below the FSP",
        "{mc} − {fsp}, not below 0",
        "wood-handbook, ch. 4",
        Percent,
    ),
    Formula(
        "strength_at",
        lambda at_12, green, mc, intersection: strength.strength_at(at_12, green, mc, intersection),
        (
            Argument("at_12", Stress),
            Argument("green", Stress),
            _MC,
            Argument("intersection", Percent, default=f"{strength.INTERSECTION_MC_PCT:g} %"),
        ),
        "P = P₁₂ × (P₁₂ ÷ P(green)) ^ [(12 % − MC) ÷ (Mp − 12 %)], and P(green) above Mp",
        "{at_12} × ({at_12} ÷ {green}) ^ [(12 % − {mc}) ÷ ({intersection} − 12 %)]",
        "wood-handbook-2010, eq. 5-3 (from memory)",
        Stress,
        0,
    ),
    Formula(
        "priced",
        lambda amount, price: amount * price,
        (Argument("amount"), Argument("price", Bare)),
        "cost = amount × price of one",
        "{amount} × {price}",
        "the definition",
        Bare,
        2,
    ),
    Formula(
        "interest",
        lambda value, rate, days: sums.interest(value, rate, days),
        (Argument("value", Bare), Argument("rate", Percent), Argument("days", Bare)),
        "interest = value × rate of a year × days ÷ 365",
        "{value} × {rate} × {days} ÷ 365",
        "the definition",
        Bare,
        2,
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
        "safe_rate_between",
        lambda rate, listed, thick_rate, thick_listed, thickness: rules.safe_rate(
            thickness, [listed, thick_listed], [rate, thick_rate], 2.5
        ),
        (
            Argument("rate", Rate),
            Argument("listed", Length),
            Argument("thick_rate", Rate),
            Argument("thick_listed", Length),
            Argument("thickness", Length),
        ),
        "rate at thickness d = rate₁ × (rate₂ ÷ rate₁)^(ln(d ÷ d₁) ÷ ln(d₂ ÷ d₁)), between two "
        "thicknesses with a rate",
        "{rate} × ({thick_rate} ÷ {rate})^(ln({thickness} ÷ {listed}) ÷ ln({thick_listed} ÷ "
        "{listed}))",
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
    Formula(
        "movement_by_shrinkage",
        lambda size, total, mc_from, mc_to, fsp: shrinkage.dimension_change_from_shrinkage(
            size, total, mc_from, mc_to, fsp
        ),
        (_SIZE, Argument("total", Percent), _FROM, _TO, _FSP),
        "ΔD = D × S₀ × (MC₂ − MC₁) ÷ [FSP × (100 % − S₁)], S₁ the shrinkage at MC₁; MCs above the "
        "FSP count as the FSP",
        _movement_put_in,
        "wood-handbook-2010, eq. 13-3",
        Length,
    ),
    Formula(
        "more_readings",
        _more,
        (_SHARE, _CONFIDENCE, Argument("failures", Bare), _READINGS),
        "more = the least n that shows the share with so many failures, less those taken",
        "share = {share}, confidence = {confidence}, failures = {failures}, taken = {readings}",
        "Clopper and Pearson, Biometrika 26 (1934)",
        Bare,
        0,
    ),
    Formula(
        "within",
        lambda of, lowest, highest: (
            survey.within_band(
                of,
                min(of) if lowest is None else lowest,
                max(of) if highest is None else highest,
            ).inside
        ),
        (
            Argument("of", Percent, many=True),
            Argument("lowest", Percent, optional=True),
            Argument("highest", Percent, optional=True),
        ),
        "the readings at or above the lowest and at or below the highest allowed, counted",
        _within_put_in,
        "the definition",
        Bare,
        0,
    ),
    Formula(
        "meter_species_correction",
        lambda reading, slope, offset: slope * reading + offset,
        (Argument("reading", Percent), Argument("slope", Bare), Argument("offset", Points)),
        "corrected = slope × reading + offset",
        "{slope} × {reading} + {offset}",
        "the species' record",
        Percent,
    ),
    Formula(
        "basic_density",
        lambda basic_specific_gravity: 1000.0 * basic_specific_gravity,
        (Argument("basic_specific_gravity", Bare),),
        "basic density = basic specific gravity × 1000 kg/m³",
        "{basic_specific_gravity} × 1000 kg/m³",
        "the definition",
        Density,
        0,
    ),
    Formula(
        "cost",
        lambda energy, price: energy * price,
        (Argument("energy", Energy), Argument("price", Bare)),
        "cost = energy × price of a kWh",
        "{energy} × {price}",
        "the mill's tariff",
        Bare,
        0,
    ),
    Formula(
        "spread_taken_together",
        lambda of: sums.mean([value**2 for value in of]) ** 0.5,
        (Argument("of", Points, many=True),),
        "spread = √[(s₁² + s₂² + …) ÷ n], s the standard deviation of each survey",
        _together_put_in,
        "the definition",
        Points,
        2,
    ),
)
