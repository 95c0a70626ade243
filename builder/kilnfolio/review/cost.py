"""What drying a charge cost, at the mill's own prices.

A dossier holds only the cost of metered energy, by the tariff of its day. The rest is computed when
a page is made, from prices that no seal covers.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kilnfolio.records.prices import Prices, amount
from kilnfolio.records.quantities import Energy, Percent
from kilnfolio.review.dossier import Working
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.working import Bare, evaluate
from kilnfolio.runtime.values import dataclass

#: What a charge pays for, in the order in which it is listed.
LINES = {
    "days": "Kiln days",
    "energy": "Energy",
    "handling": "Handling",
    "interest": "Interest on the timber",
}


@dataclass(frozen=True)
class CostLine:
    """One thing that a charge pays for.

    Attributes
    ----------
    what : str
        A key of `LINES`.
    working : tuple of Working
        How the amount was computed.
    cost, per_volume : float
        The amount, and that for a cubic metre. [currency] [currency/m³]
    """

    what: str
    working: tuple[Working, ...]
    cost: float
    per_volume: float


@dataclass(frozen=True)
class Cost:
    """What drying a charge cost.

    Attributes
    ----------
    lines : tuple of CostLine
        Those whose price the mill states.
    missing : tuple of str
        Keys of `LINES` without a price, so not counted.
    currency : str
        Their currency.
    cost, per_volume : float
        The sum. [currency] [currency/m³]
    working : tuple of Working
        How the sum and the cost of a cubic metre were computed.
    """

    lines: tuple[CostLine, ...]
    missing: tuple[str, ...]
    currency: str
    cost: float
    per_volume: float
    working: tuple[Working, ...]


@dataclass(frozen=True)
class Dried:
    """What the cost of a charge is computed from.

    Attributes
    ----------
    days : float
        Days in the kiln. [d]
    volume_m3 : float
        Volume of timber. [m³]
    energy_kwh : float or None
        Metered energy. [kWh]
    """

    days: float
    volume_m3: float
    energy_kwh: float | None


def cost_of(dried: Dried, prices: Prices, tariff: tuple[float, str] | None) -> Cost | None:
    """Return what drying cost; None if no price is stated, or they are in two currencies.

    Parameters
    ----------
    dried : Dried
        The charge.
    prices : Prices
        The mill's prices.
    tariff : tuple of float and str, optional
        Price of a kilowatt-hour, and its currency.
    """
    lines = tuple(_lines(dried, prices, tariff))
    currencies = {prices.currency, tariff[1] if tariff else ""} - {""}
    if not lines or len(currencies) != 1 or dried.volume_m3 <= 0.0:
        return None
    total = _worked("sum", "Cost", of=[line.cost for line in lines])
    per = _worked("ratio", "Cost of a cubic metre", a=total[0], b=dried.volume_m3)
    return Cost(
        lines,
        tuple(what for what in LINES if what not in {line.what for line in lines}),
        currencies.pop(),
        total[0],
        per[0],
        (total[1], per[1]),
    )


def _lines(dried: Dried, prices: Prices, tariff: tuple[float, str] | None) -> Iterator[CostLine]:
    day, handling, timber = (
        amount(price) for price in (prices.kiln_day, prices.handling, prices.timber)
    )
    volume = dried.volume_m3
    if day:
        yield _line(
            "days", volume, _worked("priced", LINES["days"], amount=dried.days, price=day[0])
        )
    if tariff and dried.energy_kwh is not None:
        energy = Energy(dried.energy_kwh, f"{dried.energy_kwh:g} kWh")
        yield _line(
            "energy", volume, _worked("cost", LINES["energy"], energy=energy, price=tariff[0])
        )
    if handling:
        yield _line(
            "handling",
            volume,
            _worked("priced", LINES["handling"], amount=volume, price=handling[0]),
        )
    if timber and prices.interest:
        value = _worked("priced", "Value of the timber", amount=volume, price=timber[0])
        lying = _worked(
            "interest",
            LINES["interest"],
            value=value[0],
            rate=Percent(prices.interest.value, prices.interest.entered),
            days=dried.days,
        )
        yield _line("interest", volume, value, lying)


def _line(what: str, volume_m3: float, *worked: tuple[float, Working]) -> CostLine:
    cost = worked[-1][0]
    return CostLine(
        what,
        tuple(working for _, working in worked),
        cost,
        float(FORMULAS["ratio"].function(a=cost, b=volume_m3)),
    )


def _worked(formula: str, label: str, **values: Any) -> tuple[float, Working]:
    """Return the result of a formula rounded as printed, and its working."""
    given = {
        name: Bare(value, f"{value:.10g}") if isinstance(value, float) else value
        for name, value in values.items()
    }
    if "of" in values:
        given["of"] = [Bare(value, f"{value:.2f}") for value in values["of"]]
    found = evaluate(FORMULAS[formula], label, given)
    return round(found.quantity.value, 2), found.working
