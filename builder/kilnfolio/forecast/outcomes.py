"""What a complete charge says about loads to come, apart from its weighings and its log.

A correction of a weighing leaves it as it was, and so everything that reads only this.
"""

from __future__ import annotations

import datetime as dt

from kilnfolio.forecast.inputs import hours_between
from kilnfolio.graph.derived import Group, derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.folder import mill_of
from kilnfolio.records.quantities import Length
from kilnfolio.runtime.values import dataclass

#: Every stock that was dried: a timber in one thickness and state.
stocks = Group("stocks")
#: Charges of a stock, in the order they began.
charges_of_stock = Group("charges of stock")


@dataclass(frozen=True)
class ChargeOutcome:
    """The outcome of a charge.

    Attributes
    ----------
    species : str
        Id of its main species.
    thickness : Length
    start : str
        State of the timber when it went in.
    schedule : str
        Id of its schedule.
    started, ended : datetime
    target_pct : float
        The MC it was dried to. [%]
    energy_kwh : float or None
        Metered energy. [kWh]
    equalized : bool
    conditioning_h : float or None
        Duration of conditioning; None without. [h]
    """

    species: str
    thickness: Length
    start: str
    schedule: str
    started: dt.datetime
    ended: dt.datetime
    target_pct: float
    energy_kwh: float | None
    equalized: bool
    conditioning_h: float | None

    @property
    def days(self) -> float:
        """Days from start to end [day]."""
        return (self.ended - self.started).total_seconds() / 86_400.0

    @property
    def stock(self) -> str:
        """Its stock; sorts by name, then thickness."""
        return f"{self.species} {self.thickness.value:07.1f} {self.start}"


@derived("charge outcome", keys=reading.charges, fills=(stocks, charges_of_stock), batch=1000)
def charge_outcome(graph: Graph, number: str) -> ChargeOutcome:
    """Return the outcome of a complete charge."""
    record = mill_of(graph).charges[number].record
    main, conditioned = record.stock[0], record.conditioning
    made = ChargeOutcome(
        main.species,
        main.thickness,
        main.start,
        record.schedule,
        record.started,
        record.ended,
        record.target_mc.value,
        record.energy.value if record.energy else None,
        bool(record.equalizing),
        hours_between(conditioned.start, conditioned.end) if conditioned else None,
    )
    graph.join(stocks, "", made.stock)
    graph.join(charges_of_stock, made.stock, number, reading.sorted_by_time(record.started))
    return made
