"""A mill folder opened in a notebook or another program."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from kilnfolio.api.tables import (
    TABLES,
    ChargeSource,
    Edition,
    LotSource,
    Table,
    charge_sources,
    lot_sources,
    rows_of,
)
from kilnfolio.archive.sealed_mill import open_sealed_mill
from kilnfolio.records.folder import MillFolder, refuse_other_folder
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.reviews import dossiers, lot_dossiers, review_all

if TYPE_CHECKING:
    import pandas as pd

    from kilnfolio.forecast.result import Forecast


def open_mill(folder: str | Path) -> MillView:
    """Open a mill folder. Nothing is read until it is needed.

    Parameters
    ----------
    folder : str or Path
        The folder with ``content/`` and ``schedules/``; ``~`` is the home folder.

    Returns
    -------
    MillView

    Raises
    ------
    RecordProblems
        If it is not a mill folder.
    """
    root = Path(folder).expanduser()
    if not (root / "content").is_dir():
        refuse_other_folder(root)
    return MillView(open_sealed_mill(root))


class MillView:
    """A mill's records and reviews; get one from `open_mill`.

    Sealed charges and lots are read as they were sealed.
    """

    def __init__(self, folder: MillFolder):
        self._folder = folder

    @property
    def charges(self) -> tuple[str, ...]:
        """Numbers of the complete charges."""
        return tuple(self._folder.charges)

    @property
    def open_charges(self) -> tuple[str, ...]:
        """Numbers of the running charges, and of others whose record is not complete."""
        return tuple(self._folder.open_charges)

    @property
    def lots(self) -> tuple[str, ...]:
        """Numbers of the complete lots."""
        return tuple(self._folder.lots)

    @property
    def species(self) -> tuple[str, ...]:
        """Ids of the species in the library."""
        return tuple(self._folder.species)

    @property
    def kilns(self) -> tuple[str, ...]:
        """Ids of the kilns."""
        return tuple(self._folder.kilns)

    def check(self) -> None:
        """Read, check and review everything.

        Raises
        ------
        RecordProblems
            All problems in all files.
        """
        review_all(self._folder)

    def charge(self, number: str) -> ChargeView:
        """Return a complete charge.

        Raises
        ------
        KeyError
            If there is no such charge.
        """
        if number not in self._folder.charges:
            raise KeyError(number)
        return ChargeView(self._folder, number)

    def review(self, charge: str) -> Dossier:
        """Return the review of a complete charge: all recomputed figures, and the findings."""
        return dossiers(self._folder)[charge]

    def review_lot(self, lot: str) -> LotDossier:
        """Return the review of a complete lot against its order."""
        return lot_dossiers(self._folder)[lot]

    def forecast(self, charge: str, as_of: dt.datetime | None = None) -> Forecast:
        """Return the forecast of a charge. It is an estimate; sample boards decide.

        Parameters
        ----------
        charge : str
            Number of a charge, open or complete.
        as_of : datetime, optional
            Time of the forecast, aware; later records are not used. By default the charge's last
            record.
        """
        from kilnfolio.forecast.mill import of_charge

        return of_charge(self._folder, charge, as_of)

    def table(self, name: str) -> pd.DataFrame:
        """Return a table of all complete charges or lots.

        Parameters
        ----------
        name : str
            One of `TABLES`.

        Returns
        -------
        DataFrame
            ``attrs["units"]`` holds the unit of each column that has one, and ``attrs["meanings"]``
            the meaning of each column.
        """
        return frame(TABLES[name], self._folder)

    def rows(
        self, name: str, edition: Edition = "mill", lot: str | None = None
    ) -> list[tuple[object, ...]]:
        """Return the rows of a table, with the columns that an edition may show.

        Parameters
        ----------
        name : str
            One of `TABLES`.
        edition : str
            ``mill``, ``auditor`` or ``customer``.
        lot : str, optional
            Only this lot, with its charges.
        """
        charges: tuple[str, ...] | None = None
        if lot is not None:
            charges = tuple(sorted({pack.charge for pack in self._folder.lots[lot].record.packs}))
        return list(
            rows_of(
                TABLES[name],
                charge_sources(self._folder, charges),
                lot_sources(self._folder, None if lot is None else (lot,)),
                edition,
            )
        )


class ChargeView:
    """A complete charge; get one from `MillView.charge`."""

    def __init__(self, folder: MillFolder, number: str):
        self._folder, self.number = folder, number

    @property
    def dossier(self) -> Dossier:
        """Its review."""
        return dossiers(self._folder)[self.number]

    def table(self, name: str) -> pd.DataFrame:
        """Return a table of this charge only; see `MillView.table`."""
        if TABLES[name].of_charges is None:
            raise KeyError(f"{name} is a table of lots")
        return frame(TABLES[name], self._folder, (self.number,))


def frame(table: Table, folder: MillFolder, charges: tuple[str, ...] | None = None) -> pd.DataFrame:
    """Return a table as a pandas DataFrame with units and meanings."""
    import pandas as pd

    charge_rows: list[ChargeSource] = []
    lot_rows: list[LotSource] = []
    if table.of_charges:
        charge_rows = list(charge_sources(folder, charges))
    else:
        lot_rows = list(lot_sources(folder))
    made = pd.DataFrame(
        list(rows_of(table, iter(charge_rows), iter(lot_rows))),
        columns=[column.name for column in table.columns],
    )
    kinds = {"number": "float64", "integer": "Int64", "boolean": "boolean", "string": "string"}
    for column in table.columns:
        if column.kind in kinds:
            made[column.name] = made[column.name].astype(kinds[column.kind])
        else:
            made[column.name] = pd.to_datetime(made[column.name], utc=column.kind == "datetime")
    made.attrs["units"] = {column.name: column.unit for column in table.columns if column.unit}
    made.attrs["meanings"] = {column.name: column.meaning for column in table.columns}
    return made
