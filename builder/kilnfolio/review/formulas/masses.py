"""Masses to moisture content: sections, boards, means and rates."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.physics import moisture, sums, survey
from kilnfolio.records.quantities import Duration, Mass, Percent, Rate
from kilnfolio.review.figures import measure
from kilnfolio.review.working import Argument, Formula, Given, bare, term

_MASS, _OVEN_DRY = Argument("mass", Mass), Argument("oven_dry_mass", Mass)
_MC, _FROM, _TO = (Argument(name, Percent) for name in ("mc", "mc_from", "mc_to"))
_OF = Argument("of", many=True)
_WENGERT = "wengert-extension"


def _mean_put_in(given: Mapping[str, Given]) -> str:
    values = given["of"]
    assert isinstance(values, tuple)
    return f"({term(values)}) ÷ {len(values)}"


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
)
