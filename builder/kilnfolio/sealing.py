"""What the ledger says of a build: where the archive and the pages meet.

The ledger is read once. A charge or lot that is not as it was sealed stops `check` and `build` by
name, until it is amended or the change taken back.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.keyring import read_keyring
from kilnfolio.archive.keys import Keys
from kilnfolio.archive.ledger import Entry, Ledger, LotEntry, read_ledger
from kilnfolio.archive.lots import LotState, lot_state, seal_lot
from kilnfolio.archive.recompute import gather, laid_out
from kilnfolio.archive.seal import SealState, state
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.problems import RecordProblems
from kilnfolio.rendering import routes
from kilnfolio.review.dossier import Dossier, Finding, LotDossier
from kilnfolio.review.review import review_charge
from kilnfolio.runtime.errors import SealBrokenError
from kilnfolio.site.lot_record import FACTS, lot_record
from kilnfolio.site.pages.customer import CustomerLot, customer_lot, with_record
from kilnfolio.site.seals import SealLine, Seals, SealView, Superseded

#: The slug a broken seal is reported under beside the findings of the checks.
AS_SEALED = "as-sealed"
#: Differences a message names.
_NAMED = 3


@dataclass(frozen=True)
class Sealed:
    """How every charge and lot of a build stands."""

    ledger: Ledger
    charges: Mapping[str, SealState] = field(default_factory=dict)
    lots: Mapping[str, LotState] = field(default_factory=dict)
    views: Mapping[str, CustomerLot] = field(default_factory=dict)
    """What each lot's page prints: the sealed record where there is one."""
    reopened: Mapping[str, str] = field(default_factory=dict)
    """Sealed charges and lots, by the name `check` prints, whose charge is no longer complete."""

    def findings(self) -> dict[str, Finding]:
        """Return what is not as sealed, by the name `check` prints: ``C1``, ``lot L1``."""
        found = {name: _finding(stands, name) for name, stands in self.charges.items()
                 if stands.differences}
        found |= {f"lot {name}": _finding(stands, name)
                  for name, stands in self.lots.items() if stands.differences}
        return found | {name: reopened_finding(lacking) for name, lacking in self.reopened.items()}

    def refuse_changes(self) -> None:
        """Refuse to go on with records that are not as they were sealed.

        Raises
        ------
        SealBrokenError
            Names each, what of it changed, and what to do.
        """
        reasons = [f"{name}: {finding.message}" for name, finding in self.findings().items()]
        if reasons:
            raise SealBrokenError(reasons)

    def pages(self, folder: MillFolder) -> Seals:
        """Return the same as pages print it."""
        demo = demo_keys(folder.root)
        return Seals(
            {name: seal_view(stands.entries, demo, tuple(
                f"{note.where}: {note.what}" for note in stands.notes), name)
             for name, stands in self.charges.items()},
            {name: seal_view(stands.entries, demo, stands.notes)
             for name, stands in self.lots.items()},
            {name: tuple(superseded_states(folder.root, stands.entries))
             for name, stands in self.charges.items() if len(stands.entries) > 1},
            tuple(sorted({entry.public_key for stands in self.charges.values()
                          for entry in stands.entries})), demo)


def sealed_state(folder: MillFolder, dossiers: Mapping[str, Dossier],
                 lots: Mapping[str, LotDossier], tokens: Mapping[str, str]) -> Sealed:
    """Return how every charge and lot stands against the ledger.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    dossiers, lots : mapping
        The reviews.
    tokens : mapping of str to str
        The last part of each lot's address; a lot without one has a record, but no page.
    """
    root, ledger = folder.root, read_ledger(folder.root)
    charges = {name: state(root, name, dossier, ledger) for name, dossier in dossiers.items()}
    demo = demo_keys(root)
    states, views = {}, {}
    for name, dossier in lots.items():
        view = customer_lot(folder, name, dossiers, dossier, tokens.get(name, ""))
        made = canonical(lot_record(view))
        states[name] = lot_state(root, name, made, ledger, FACTS)
        views[name] = with_record(view, states[name].record.decode(),
                                  seal_view(states[name].entries, demo, states[name].notes))
    reopened = {name: f"charge {name}" for name in folder.open_charges if ledger.of(name)}
    reopened |= {f"lot {name}": "its charge" for name in folder.waiting_lots
                 if ledger.of_lot(name)}
    reopened |= {begun.name: begun.name for begun in folder.begun.values()
                 if begun.kind == "lot" and ledger.of_lot(begun.id)}
    return Sealed(ledger, charges, states, views, reopened)


def enter_lot(folder: MillFolder, dossiers: Mapping[str, Dossier], dossier: LotDossier, by: str,
              keys: Keys, at: dt.datetime, reason: str | None = None) -> LotEntry:
    """Seal the record of a lot, or amend it where there is a reason; see `archive.lots.seal_lot`.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    dossiers : mapping of str to Dossier
        The reviews of the lot's charges, at least.
    dossier : LotDossier
        The review of the lot.
    by, keys, at, reason
        As for `archive.lots.seal_lot`.
    """
    ledger = read_ledger(folder.root)
    charges = {name: state(folder.root, name, dossiers[name], ledger) for name in dossier.charges}
    record = canonical(lot_record(customer_lot(folder, dossier.lot, dossiers, dossier, "")))
    return seal_lot(folder.root, dossier, record, charges, by, keys, at, reason)


def reopened_finding(lacking: str) -> Finding:
    """Return what is said of a sealed record whose charge is no longer complete."""
    return Finding(
        check=AS_SEALED, outcome="refused", message=f"it is sealed, and the record of {lacking}"
        " is no longer complete. Write 'ended' and 'unloaded' as they were")


def broken_words(stands: SealState | LotState, name: str) -> str:
    """Return what is not as it was sealed, in words."""
    return f"{name}: {_finding(stands, name).message}"


def _finding(stands: SealState | LotState, name: str) -> Finding:
    last, differences = stands.entries[-1], stands.differences
    named = "; ".join(f"{d.where}: {d.what}" for d in differences[:_NAMED])
    more = len(differences) - _NAMED
    rest = f"; and {more} more, which 'kilnfolio audit' names" if more > 0 else ""
    return Finding(check=AS_SEALED, outcome="refused", message=(
        f"it is not as {last.by} sealed it on {last.at:%Y-%m-%d}. {named}{rest}. Take the change "
        f"back, or: kilnfolio amend {name} --by NAME --reason '…'"))


def demo_keys(root: Path) -> frozenset[str]:
    """Return the public keys of a mill that are the demonstration's."""
    with contextlib.suppress(RecordProblems):  # then the ledger does not hold, which is said
        keyring = read_keyring(root)
        return frozenset(key.public_key for key in keyring.keys if key.demo) if keyring \
            else frozenset()
    return frozenset()


def seal_view(entries: tuple[Entry | LotEntry, ...], demo: frozenset[str],
              notes: tuple[str, ...], charge: str = "") -> SealView:
    """Return the entries of a charge or lot as pages print them.

    Parameters
    ----------
    entries : tuple of Entry or LotEntry
        Oldest first.
    demo : frozenset of str
        Public keys that are the demonstration's.
    notes : tuple of str
        What changed around it and does not break the seal.
    charge : str, optional
        Its number, where the states that were amended since have pages.
    """
    lines = []
    for ordinal, entry in enumerate(entries, 1):
        old = bool(charge) and ordinal < len(entries)
        lines.append(_line(entry, routes.superseded(charge, ordinal) if old else ""))
    return SealView(tuple(lines), any(entry.public_key in demo for entry in entries[-1:]), notes)


def _line(entry: Entry | LotEntry, page: str = "") -> SealLine:
    digest = entry.dossier if isinstance(entry, Entry) else entry.record
    return SealLine(entry.number, entry.seal, digest, entry.at, entry.by, entry.reason or "",
                    entry.public_key, page)


def superseded_states(root: Path, entries: tuple[Entry, ...]) -> Iterator[Superseded]:
    """Yield each sealed state of a charge that was amended since, from the files it rests on."""
    lines = [_line(entry, routes.superseded(entry.charge, ordinal))
             for ordinal, entry in enumerate(entries, 1)]
    for place in range(len(entries) - 2, -1, -1):
        entry = entries[place]
        gathered = gather(root, entry, holds=False, closed=False)
        with laid_out(gathered.files) as folder:
            dossier = review_charge(folder, entry.charge)
        same = sha256(canonical(dossier)) == entry.dossier
        yield Superseded(folder, dossier, lines[place], lines[place + 1], same)
