"""Mills made of the invented list alone, with its stories or without, one for each seed."""

from __future__ import annotations

from functools import cache
from zoneinfo import ZoneInfo

from demo.earlier import make_list, table
from kilnfolio.records.csv_table import read_table
from kilnfolio.records.earlier import CHARGES, INSPECTED, EarlierCharge, EarlierInspected
from kilnfolio.trends.control import MEASURES, Series, judge, series_of
from kilnfolio.trends.past import PastCharge, PlacedDefect, PlacedReading, line_of_row

ZONE = ZoneInfo("America/Toronto")


@cache
def lines_of(seed: int, *, planted: bool) -> tuple[PastCharge, ...]:
    """Return the charges of such a mill, oldest first."""
    made = make_list(seed, planted=planted)
    rows = read_table(table(made.charges).encode(), CHARGES, EarlierCharge).record.rows
    placed: dict[str, list[PlacedReading]] = {}
    for reading in made.readings:
        placed.setdefault(reading["charge"], []).append(
            PlacedReading(reading["position"], reading["mc"])
        )
    inspected: dict[str, list[PlacedDefect]] = {}
    packs = read_table(table(made.inspected).encode(), INSPECTED, EarlierInspected).record.rows
    for pack in packs:
        inspected.setdefault(pack.charge, []).extend(
            PlacedDefect(defect, pack.position, pieces, pack.examined)
            for defect, pieces in pack.defects.items()
        )
    lines = [line_of_row(row, placed[row.charge], inspected[row.charge], ZONE) for row in rows]
    return tuple(sorted(lines, key=lambda line: (line.started, line.number)))


def charts_of(lines: tuple[PastCharge, ...]) -> list[tuple[str, Series]]:
    """Return every chart of a mill with the kiln or the stock it is of."""
    found = []
    for kind in ("kiln", "stock"):
        for name in dict.fromkeys(getattr(line, kind) for line in lines):
            own = [line for line in lines if getattr(line, kind) == name]
            found += [(name, series_of(one, own)) for one in MEASURES.values() if kind in one.of]
    return found


def signals_of(lines: tuple[PastCharge, ...]) -> set[tuple[str, str]]:
    """Return what stands out on them: kiln or stock, and measure."""
    charts = charts_of(lines)
    looks = sum(series.enough for _, series in charts)
    return {(name, series.measure) for name, series in charts if judge(series, looks).signal}
