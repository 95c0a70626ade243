"""The table of what a cubic metre costs to dry, at the mill's own prices where it states them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kilnfolio.handbook.tables import Cell, Column, Options, Table, table_kind
from kilnfolio.records.model import Name
from kilnfolio.records.prices import PRICES, Prices
from kilnfolio.records.quantities import Duration, Energy, Percent, Volume
from kilnfolio.records.yaml_source import Document
from kilnfolio.review.cost import LINES, Cost, Dried, cost_of
from kilnfolio.review.figures import number

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder

_INVENTED = "invented"


class CostOptions(Options):
    """Options of a table of the cost of a charge; its prices stand in for those of the mill."""

    volume: Volume
    """Volume of the charge."""
    days: Duration
    """How long it stands in the kiln."""
    energy: Energy
    """Energy it takes."""
    energy_price: Name
    """Price of a kilowatt-hour, without a currency."""
    kiln_day: Name
    """Price of a day in the kiln, without a currency."""
    handling: Name
    """Price of handling a cubic metre, without a currency."""
    timber: Name
    """Value of a cubic metre, without a currency."""
    interest: Percent
    """Interest for a year."""


@table_kind("drying-cost", CostOptions)
def _cost(builder: Builder, options: CostOptions, _document: Document) -> Table:
    folder = builder.setting.folder
    own = folder.prices.record if folder.prices else Prices(format=1)
    tariff = folder.mill.record.energy_price
    currency = own.currency or (tariff[1] if tariff else "XXX")
    stated = {
        "days": own.kiln_day,
        "energy": tariff,
        "handling": own.handling,
        "interest": own.interest,
    }
    filled = Prices(
        format=1,
        kiln_day=own.kiln_day or f"{options.kiln_day} {currency}/day",
        handling=own.handling or f"{options.handling} {currency}/m³",
        timber=own.timber or f"{options.timber} {currency}/m³",
        interest=own.interest or options.interest,
    )
    dried = Dried(options.days.value / 24.0, options.volume.value, options.energy.value)
    cost = cost_of(dried, filled, tariff or (float(options.energy_price), currency))
    assert cost is not None  # every price is filled in, all in one currency
    return _table(cost, {what for what, price in stated.items() if price})


def _table(cost: Cost, stated: set[str]) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (
            LINES[line.what],
            line.working[-1].substituted,
            number(line.cost, 0),
            number(line.per_volume, 1),
            "this mill" if line.what in stated else _INVENTED,
        )
        for line in cost.lines
    ]
    rows.append(("Total", "", number(cost.cost, 0), number(cost.per_volume, 1), ""))
    money = cost.currency if stated else "money"
    return Table(
        (
            Column("Paid for", text=True),
            Column("Amount and price", text=True),
            Column("Cost", money),
            Column("For a cubic metre", f"{money}/m³"),
            Column("Price of", text=True),
        ),
        tuple(rows),
        f"An invented charge, at the prices of {PRICES} and energy_tariff of content/mill.yaml; "
        "prices they do not state are invented, and marked so. Degrade is not in it.",
        worked=(*(working for line in cost.lines for working in line.working), *cost.working),
    )
