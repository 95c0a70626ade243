"""The mill's records and reviews as the pages know them, noting who reads what.

These stand in for a `MillFolder`, `Holdings` and `Seals` that hold everything: the same names, and
a thing is fetched when it is asked for. A page made from them cannot read what is not noted.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from jinja2 import Environment

from kilnfolio.archive.as_sealed import SealedFolder, folder_as_sealed
from kilnfolio.archive.entries import AnyEntry
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.ledger import KEPT, Ledger, dossier_path
from kilnfolio.archive.tokens import lot_token, read_token_keys
from kilnfolio.handbook.chapter import Manuscript, read_manuscript
from kilnfolio.incremental.engine import Desk
from kilnfolio.incremental.tree import TEMPLATES
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located
from kilnfolio.rendering.routes import MENU
from kilnfolio.rendering.templating import environment
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.review import mill_pressure
from kilnfolio.review.running import Running
from kilnfolio.site.pages.histories import ChargeLine, LotLine
from kilnfolio.site.pages.holdings import ALL, Holdings
from kilnfolio.site.pages.rows import CHARGES, LOTS, Facts
from kilnfolio.site.pages.tallies import YearTally
from kilnfolio.site.seals import Seals, SealView, Superseded, superseded_states

T = TypeVar("T")


class Shelf(Mapping[str, T]):
    """Cells of one kind by the name of the thing: ``cell`` is what they begin with.

    Parameters
    ----------
    desk : Desk
        Where they are asked for.
    cell : str
        What the names of the cells begin with.
    noun : str
        The list of names, one of `records.homes.HOMES`; without one it cannot be walked along.
    """

    def __init__(self, desk: Desk, cell: str, noun: str = ""):
        self._desk, self._cell, self._noun = desk, cell, noun

    def __getitem__(self, name: str) -> T:
        value: T = self._desk.get(f"{self._cell}:{name}")
        return value

    def __contains__(self, name: object) -> bool:
        return self._desk.has(f"{self._cell}:{name}")

    def __iter__(self) -> Iterator[str]:
        return iter(self._names())

    def __len__(self) -> int:
        return len(self._names())

    def _names(self) -> Mapping[str, object]:
        """Return the names, but for records that are still to be filled in."""
        names: Mapping[str, object] = self._desk.get(f"names:{self._noun}")
        begun = self._desk.group("begun")
        return {name: paths for name, paths in names.items() if f"{self._cell} {name}" not in begun}


class Grouped(Shelf[T]):
    """Cells of one kind whose names are a group."""

    def _names(self) -> Mapping[str, object]:
        return dict.fromkeys(sorted(self._desk.group(self._noun)))


class Computed(Mapping[str, T]):
    """What is had by asking for it by name; it cannot be walked along."""

    def __init__(self, ask: Callable[[str], T]):
        self._ask = ask

    def __getitem__(self, name: str) -> T:
        return self._ask(name)

    def __iter__(self) -> Iterator[str]:
        raise TypeError("it is asked for by name only")

    def __len__(self) -> int:
        raise TypeError("it is asked for by name only")


class _Years(dict[int, YearTally]):
    """The tallies by year."""

    def __init__(self, desk: Desk):
        self._desk = desk

    def __missing__(self, year: int) -> YearTally:
        tally: YearTally = self._desk.get(f"tally:{year}")
        return tally


class NotedFolder(MillFolder):
    """A mill folder whose records are read as they are asked for."""

    _desk: Desk

    def __init__(self, desk: Desk):
        object.__setattr__(self, "_desk", desk)
        for field, cell in (("charges", "charge"), ("lots", "lot")):
            object.__setattr__(self, field, Grouped[Located[Any]](desk, cell, f"{field}/{ALL}"))
        for field, cell, noun in (
                ("species", "species", "species"), ("schedules", "schedule", "schedules"),
                ("notations", "notation", "notations"), ("kilns", "kiln", "kilns"),
                ("loggers", "logger", "loggers"),
                ("superseded", "superseded-schedule", "superseded")):
            object.__setattr__(self, field, Shelf[Located[Any]](desk, cell, noun))
        for field, cell, group in (("open_charges", "open-charge", "open-charges"),
                                   ("waiting_lots", "waiting-lot", "waiting-lots"),
                                   ("begun", "begun", "begun")):
            object.__setattr__(self, field, Grouped[Any](desk, cell, group))

    @property
    def root(self) -> Path:
        """The folder; who takes it reads the handbook's chapters there."""
        self._desk.has("tree:content/handbook")
        root: Path = self._desk.root
        return root

    mill = property(lambda self: self._desk.get("record:content/mill.yaml"))
    sources = property(lambda self: self._desk.get("record:schedules/sources.yaml"))
    limits = property(lambda self: self._desk.get("record:schedules/limits.yaml"))

    def file(self, name: str) -> Path:
        """Return a file of the folder; who takes it reads it."""
        self._desk.has(f"file:{name}")
        root: Path = self._desk.root
        return root / name

    @property
    def latest(self) -> dt.datetime:
        """The newest moment on record."""
        moment: dt.datetime = self._desk.get("latest")
        return moment

    @cached_property
    def lots_with_pack(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that name each pack."""
        return Computed(lambda pack: self._desk.group(f"lots-with-pack:{pack}"))

    @property
    def unread(self) -> frozenset[str]:
        """Records that are there and could not be read."""
        names: frozenset[str] = self._desk.unread
        return names

    @cached_property
    def lots_waiting_for(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that wait for each open charge."""
        return Computed(lambda charge: self._desk.group(f"lots-waiting-for:{charge}"))

    @cached_property
    def lots_of_charge(self) -> Mapping[str, tuple[str, ...]]:
        """Lots that have packs of each charge."""
        return Computed(lambda charge: self._desk.group(f"lots-of-charge:{charge}"))

    @cached_property
    def charges_with_pack(self) -> Mapping[str, tuple[str, ...]]:
        """Charges whose stacking record lists each pack."""
        return Computed(lambda pack: self._desk.group(f"charges-with-pack:{pack}"))


class NotedHoldings(Holdings):
    """What pages are made from, fetched as they ask for it.

    Parameters
    ----------
    desk : Desk
        Where things are asked for.
    folder : NotedFolder
        The records.
    menu : tuple
        The menu of the edition, as for `templating.environment`.
    **names
        Other names the edition's templates know, in place of the environment's own.
    """

    _desk: Desk
    _menu: tuple[tuple[str, str], ...]
    _names: Mapping[str, object]
    _environments: dict[Any, Any]

    def __init__(self, desk: Desk, folder: NotedFolder, menu: tuple[tuple[str, str], ...],
                 **names: object):
        for name, value in (("_desk", desk), ("folder", folder), ("_menu", menu),
                            ("_names", names), ("_environments", {})):
            object.__setattr__(self, name, value)
        for name, shelf in (
                ("dossiers", Grouped[Dossier](desk, "dossier", f"charges/{ALL}")),
                ("lot_dossiers", Grouped[LotDossier](desk, "verdict", f"lots/{ALL}")),
                ("running", Grouped[Running](desk, "running", "open-charges")),
                ("tokens", Computed(self._token))):
            object.__setattr__(self, name, shelf)
        object.__setattr__(self, "seals", NotedSeals(desk))

    @property
    def env(self) -> Environment:
        """The templates' surroundings, of the mill as it is now."""
        mill = self.folder.mill.record
        key = self._desk.digest("record:content/mill.yaml")
        if key not in self._environments:
            self._environments.clear()
            made = environment(mill, menu=self._menu, compiled=self._desk.out / TEMPLATES)
            made.globals.update(pdfs=_PdfsThere(self._desk), **self._names)
            self._environments[key] = made
        env: Environment = self._environments[key]
        return env

    @property
    def build_date(self) -> dt.date:
        """The date pages print."""
        moment: dt.datetime = self._desk.get("build-date")
        return moment.date()

    @property
    def manuscript(self) -> Manuscript | None:
        """The handbook's chapters; none in an edition that has no handbook."""
        if self._menu is not MENU:
            return None
        key = self._desk.digest("tree:content/handbook")
        if self._desk.kept.get("manuscript", ("",))[0] != key:
            self._desk.kept["manuscript"] = (key, read_manuscript(self._desk.root)[0])
        found: Manuscript = self._desk.kept["manuscript"][1]
        return found

    def _token(self, lot: str) -> str:
        for address in addresses(self._desk, lot):
            return address
        raise KeyError(lot)

    pressure_pa = property(lambda self: mill_pressure(self.folder))

    @cached_property
    def schedules_of_species(self) -> Mapping[str, tuple[str, ...]]:
        """Schedules by species."""
        return Computed(lambda species: self._desk.group(f"schedules-of-species:{species}"))

    @cached_property
    def lines(self) -> Mapping[str, ChargeLine]:
        """What other pages print of each charge."""
        return Grouped(self._desk, "charge-line", f"charges/{ALL}")

    @cached_property
    def lot_lines(self) -> Mapping[str, LotLine]:
        """What other pages print of each lot."""
        return Grouped(self._desk, "lot-line", f"lots/{ALL}")

    @cached_property
    def charges(self) -> Mapping[str, tuple[str, ...]]:
        """Charges by group, the newest first."""
        return Computed(lambda group: self._desk.group(f"charges/{group}", newest_first=True))

    @cached_property
    def lots(self) -> Mapping[str, tuple[str, ...]]:
        """Lots by group, the newest first."""
        return Computed(lambda group: self._desk.group(f"lots/{group}", newest_first=True))

    @property
    def years(self) -> tuple[int, ...]:
        """Years that charges began or lots were issued in, the newest first."""
        years: tuple[int, ...] = self._desk.get("years")
        return years

    @cached_property
    def register_facts(self) -> Mapping[str, tuple[Facts, ...]]:
        """What is to be known of each part of a register, the newest first, by its kind."""
        return _Facts(self._desk)

    @cached_property
    def tallies_by_year(self) -> Mapping[int, YearTally]:
        """What each check said of the charges and lots of a year."""
        return _Years(self._desk)


class _Facts(dict[str, tuple[Facts, ...]]):
    """What is to be known of each part of a register, by its kind."""

    def __init__(self, desk: Desk):
        self._desk = desk

    def __missing__(self, kind: str) -> tuple[Facts, ...]:
        noun = {CHARGES.kind: "charges", LOTS.kind: "lots"}[kind]
        return tuple(self._desk.get(f"facts:{noun}:{quarter}")
                     for quarter in self._desk.get(f"quarters:{noun}"))


class NotedSeals(Seals):
    """What the ledger says, fetched as it is asked for."""

    _desk: Desk

    def __init__(self, desk: Desk):
        for name, value in (("_desk", desk), ("charges", Shelf[SealView](desk, "seal-view")),
                            ("lots", Shelf[SealView](desk, "lot-seal-view")),
                            ("superseded", Computed(lambda charge: superseded(desk, charge))),
                            ("folders", Computed(lambda charge: sealed_folder(desk, charge)))):
            object.__setattr__(self, name, value)

    @property
    def keys(self) -> tuple[str, ...]:
        """The public keys charges were sealed with, sorted."""
        return tuple(sorted(set(self._desk.group("public-keys"))))


class _PdfsThere:
    """Whether the PDFs are there that a page leads to; who asks depends on them."""

    def __init__(self, desk: Desk):
        self._desk = desk

    def __bool__(self) -> bool:
        return all(self._desk.has(cell) for cell in self._desk.pdfs)


def addresses(desk: Desk, lot: str) -> tuple[str, ...]:
    """Return the addresses of a lot, the one in use first; none where the mill has no key."""
    trees = tuple(desk.digest(f"tree:{tree}") for tree in ("keys", "content/demo-keys"))
    if desk.kept.get("keys", (None,))[0] != trees:
        mill: Located[Mill] = desk.get("record:content/mill.yaml")
        desk.kept["keys"] = (trees, read_token_keys(desk.root, invented=mill.record.invented))
    return tuple(lot_token(lot, key) for key in desk.kept["keys"][1])


def part_of_ledger(desk: Desk, noun: str, number: str) -> Ledger:
    """Return what the ledger holds of one charge or lot, with all that is wrong with the ledger."""
    cell = f"entries:{noun}:{number}"
    return Ledger(desk.get(cell) if desk.has(cell) else (), desk.get("ledger"))


def superseded(desk: Desk, charge: str) -> tuple[Superseded, ...]:
    """Return the sealed states of a charge that were amended since.

    Raises
    ------
    KeyError
        There are none.
    """
    entries = part_of_ledger(desk, "charge", charge).of(charge)
    if len(entries) < 2:
        raise KeyError(charge)
    note_sealed(desk, entries)
    note_dossiers(desk, charge, len(entries))
    return tuple(superseded_states(desk.root, entries))


def sealed_folder(desk: Desk, charge: str) -> SealedFolder:
    """Return the records a charge was sealed on.

    Raises
    ------
    KeyError
        It is not sealed.
    """
    entries = part_of_ledger(desk, "charge", charge).of(charge)
    if not entries:
        raise KeyError(charge)
    note_sealed(desk, entries[-1:])
    return folder_as_sealed(desk.root, entries[-1])


def note_dossiers(desk: Desk, charge: str, count: int) -> None:
    """Note that the sealed dossiers of a charge are read."""
    for ordinal in range(1, count + 1):
        desk.has(f"file:{dossier_path(charge, ordinal).as_posix()}")


def note_sealed(desk: Desk, entries: Sequence[AnyEntry]) -> None:
    """Note that the files of seals are read, which stay when others are sealed.

    What stands before them in the ledger is noted with them: each entry holds the hash of it.
    """
    desk.has(f"file:{KEYRING.as_posix()}")
    for entry in entries:
        for file in entry.files:
            desk.has(f"file:{(KEPT / file.sha256).as_posix()}")
