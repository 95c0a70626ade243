"""The recomputed series of a charge as CSV files, for a spreadsheet.

A cell that a spreadsheet would take for a formula gets an apostrophe before it and stays text:
nothing typed into a record may run on the reader's machine.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator

from kilnfolio.review.dossier import Dossier

#: First characters that a spreadsheet takes for the start of a formula (OWASP, CSV Injection).
_ACTIVE = ("=", "+", "-", "@", "\t", "\r")

AIR = ("middle_of_interval", "dry_bulb_c", "wet_bulb_c", "relative_humidity_pct", "emc_pct")
BOARDS = (
    "at",
    "board",
    "position",
    "mass_g",
    "mc_pct",
    "mc_uncertainty_pct",
    "daily_loss_pct",
    "decides",
    "controlling_mc_pct",
)


def cell(value: object) -> str:
    """Return a value as a cell: a number unchanged, text made harmless, None as an empty cell."""
    if value is None:
        return ""
    if isinstance(value, (int, float)):
        return repr(value)
    text = str(value)
    return f"'{text}" if text.startswith(_ACTIVE) else text


def series_paths(charge: str) -> tuple[str, str]:
    """Return the paths of a charge's air and board series."""
    return f"series/{charge}-air.csv", f"series/{charge}-boards.csv"


def series_files(dossiers: Iterable[Dossier]) -> dict[str, str]:
    """Return a charge's series files by path in the edition."""
    files = {}
    for dossier in dossiers:
        air, boards = series_paths(dossier.charge)
        files[air] = _csv(AIR, _air(dossier))
        files[boards] = _csv(BOARDS, _boards(dossier))
    return files


def _air(dossier: Dossier) -> Iterator[tuple[object, ...]]:
    for point in dossier.log.air if dossier.log else ():
        yield (
            point.at.isoformat(),
            point.dry_bulb_c,
            point.wet_bulb_c,
            point.relative_humidity_pct,
            point.emc_pct,
        )


def _boards(dossier: Dossier) -> Iterator[tuple[object, ...]]:
    control = {point.at: point for point in dossier.controlling}
    for board in dossier.boards:
        for point in board.points:
            decided = control.get(point.at)
            decides = "" if decided is None else "yes" if board.id in decided.boards else "no"
            yield (
                point.at.isoformat(),
                board.id,
                board.position,
                point.mass_g,
                point.mc_pct,
                point.mc_uncertainty_pct,
                point.daily_loss_pct,
                decides,
                decided.mc_pct if decided else None,
            )


def _csv(headings: tuple[str, ...], rows: Iterable[tuple[object, ...]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(  # which writes a float as `cell` does
        [value if value.__class__ is float else cell(value) for value in row] for row in rows
    )
    return out.getvalue()
