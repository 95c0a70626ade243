"""Masses to moisture content: sections, boards, means and rates."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.physics import moisture, sums, survey
from kilnfolio.records.quantities import Duration, Mass, Percent, Quantity, Rate
from kilnfolio.review.boards import COVERAGE, standard_from_resolution
from kilnfolio.review.figures import NBSP, measure, number
from kilnfolio.review.working import Argument, Bare, Formula, Given, Points, bare, listed, term

_MASS, _OVEN_DRY = Argument("mass", Mass), Argument("oven_dry_mass", Mass)
_MC, _FROM, _TO = (Argument(name, Percent) for name in ("mc", "mc_from", "mc_to"))
_OF = Argument("of", many=True)
_BEFORE, _TIME = Argument("mass_before", Mass), Argument("time", Duration)
_RESOLUTION = Argument("resolution", Mass)
_GUIDE = "JCGM 100:2008, 4.3.7, 5.1.2 and 6.3.3"
_ROUNDING = "r what the scale resolves, k = 2"
#: Longer sums are abbreviated to their first and last terms.
_LONG = 100
_WENGERT = "wengert-extension"


def _mean_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    terms = term(values) if len(values) <= _LONG else f"{term(values[0])} + … + {term(values[-1])}"
    return f"({terms}) ÷ {len(values)}"


def _wettest_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    wettest = tuple(
        values[place] for place in moisture.controlling_boards([v.value for v in values])
    )
    return f"({term(wettest)}) ÷ {len(wettest)}"


def _wettest_of(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    return "the wettest of " + ", ".join(map(term, values))


def _each_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    return listed([value for value in values if isinstance(value, Quantity)])


def _squares_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    return "√(" + " + ".join(f"({term(value)})²" for value in values) + ")"


def _deviation_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    middle = measure(sums.mean(bare(values)), values[0].unit, 2)
    first, last = term(values[0]), term(values[-1])
    return f"√{{[({first} − {middle})² + … + ({last} − {middle})²] ÷ ({len(values)} − 1)}}"


def _section_error(mass: float, oven_dry_mass: float, resolution: float) -> float:
    error = standard_from_resolution(resolution)
    return COVERAGE * float(
        moisture.moisture_content_uncertainty(mass, error, oven_dry_mass, error)
    )


def _board_error(
    mass: float, oven_dry_mass: float, resolution: float, oven_dry_uncertainty: float
) -> float:
    return float(
        moisture.moisture_content_uncertainty(
            mass,
            COVERAGE * standard_from_resolution(resolution),
            oven_dry_mass,
            oven_dry_uncertainty,
        )
    )


def _section_mean_error(sections: list[float], uncertainties: list[float]) -> float:
    standard = [uncertainty / COVERAGE for uncertainty in uncertainties]
    return float(moisture.section_mean_uncertainty(sections, standard))


def _oven_dry_error(
    mass: float, mc: float, resolution: float, sections: list[float], uncertainties: list[float]
) -> float:
    by_sections = _section_mean_error(sections, uncertainties)
    return COVERAGE * float(
        moisture.oven_dry_uncertainty(mass, standard_from_resolution(resolution), mc, by_sections)
    )


def _oven_dry_error_put_in(given: Mapping[str, Given]) -> str:
    values = {name: bare(value) for name, value in given.items()}
    dry = float(moisture.oven_dry_mass(values["mass"], values["mc"]))
    by_sections = _section_mean_error(values["sections"], values["uncertainties"])
    return (
        f"{COVERAGE:g} × √[({term(given['resolution'])} ÷ √12 ÷ (1 + {term(given['mc'])} ÷ 100 %))²"
        f" + ({measure(dry, 'g', 1)} × {measure(by_sections, '%', 2)} ÷ "
        f"(100 % + {term(given['mc'])}))²]"
    )


def _loss(mass_before: float, mass: float, oven_dry_mass: float, time: float) -> float:
    before, after = (
        moisture.moisture_content(value, oven_dry_mass) for value in (mass_before, mass)
    )
    return float(moisture.drying_rate(before, after, time))


def _hourly_put_in(given: Mapping[str, Given]) -> str:
    return (
        f"100 × ({term(given['mass_before'])} − {term(given['mass'])}) ÷ "
        f"{term(given['oven_dry_mass'])} ÷ {number(bare(given['time']), 1)}{NBSP}h"
    )


#: The formula of each rule for the controlling MC.
BY_RULE: Mapping[str, str] = {
    "wettest half": "controlling_moisture_content",
    "wettest board": "wettest_board",
    "mean": "mean_of_boards",
}

#: In the order the guide lists them.
MASSES = (
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
        "mean_of_points",
        lambda of: sums.mean(of),
        (Argument("of", Points, many=True),),
        "mean = (d₁ + d₂ + …) ÷ n, d a reading less the mean of its survey",
        _mean_put_in,
        "the definition",
        Points,
        2,
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
        "wettest_board",
        lambda of: max(of),
        (Argument("of", Percent, many=True),),
        "controlling MC = MC of the wettest board",
        _wettest_of,
        "common practice",
        Percent,
    ),
    Formula(
        "mean_of_boards",
        lambda of: sums.mean(of),
        (Argument("of", Percent, many=True),),
        "controlling MC = mean of all boards",
        _mean_put_in,
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
        "daily_loss",
        _loss,
        (_BEFORE, _MASS, _OVEN_DRY, _TIME),
        "loss a day = 100 × (m₁ − m₂) ÷ m₀ × 24 h ÷ time",
        "100 × ({mass_before} − {mass}) ÷ {oven_dry_mass} × 24 h ÷ {time}",
        "common practice",
        Rate,
    ),
    Formula(
        "hourly_loss",
        lambda mass_before, mass, oven_dry_mass, time: (
            _loss(mass_before, mass, oven_dry_mass, time) / 24.0
        ),
        (_BEFORE, _MASS, _OVEN_DRY, _TIME),
        "loss an hour = 100 × (m₁ − m₂) ÷ m₀ ÷ the hours the fans ran",
        _hourly_put_in,
        "common practice",
        Points,
        3,
    ),
    Formula(
        "rate_by_the_hour",
        lambda rate: rate / 24.0,
        (Argument("rate", Rate),),
        "safe loss an hour = safe loss a day ÷ 24",
        "{rate} ÷ 24",
        "the definition",
        Points,
        3,
    ),
    Formula(
        "section_uncertainty",
        _section_error,
        (_MASS, _OVEN_DRY, _RESOLUTION),
        f"U = k × 100 ÷ m₀ × √[(r ÷ √12)² + (m ÷ m₀ × r ÷ √12)²], {_ROUNDING}",
        f"{COVERAGE:g} × 100 ÷ {{oven_dry_mass}} × √[({{resolution}} ÷ √12)² + "
        "({mass} ÷ {oven_dry_mass} × {resolution} ÷ √12)²]",
        _GUIDE,
        Points,
    ),
    Formula(
        "board_uncertainty",
        _board_error,
        (_MASS, _OVEN_DRY, _RESOLUTION, Argument("oven_dry_uncertainty", Mass)),
        f"U = 100 ÷ m₀ × √[(k × r ÷ √12)² + (m ÷ m₀ × U(m₀))²], {_ROUNDING}",
        f"100 ÷ {{oven_dry_mass}} × √[({COVERAGE:g} × {{resolution}} ÷ √12)² + "
        "({mass} ÷ {oven_dry_mass} × {oven_dry_uncertainty})²]",
        _GUIDE,
        Points,
    ),
    Formula(
        "oven_dry_uncertainty",
        _oven_dry_error,
        (
            _MASS,
            _MC,
            _RESOLUTION,
            Argument("sections", Percent, many=True),
            Argument("uncertainties", Points, many=True),
        ),
        "U(m₀) = k × √[(r ÷ √12 ÷ (1 + MC ÷ 100 %))² + (m₀ × u ÷ (100 % + MC))²], "
        "u² = s² ÷ n + ΣU² ÷ (k × n)², s the spread of n sections, U the uncertainty of each, "
        f"{_ROUNDING}",
        _oven_dry_error_put_in,
        _GUIDE,
        Mass,
    ),
    Formula(
        "least",
        lambda of: min(of),
        (_OF,),
        "the least of them",
        _each_put_in,
        "the definition",
    ),
    Formula(
        "greatest",
        lambda of: max(of),
        (_OF,),
        "the greatest of them",
        _each_put_in,
        "the definition",
    ),
    Formula(
        "ratio",
        sums.ratio,
        (Argument("a"), Argument("b")),
        "ratio = a ÷ b",
        "{a} ÷ {b}",
        "the definition",
        Bare,
    ),
)
