"""All of it checked, by somebody who trusts none of it.

A bag, a folder of bags or a mill folder: its manifests, its ledger and signatures, and every
sealed dossier computed again from the raw files and compared number by number. It works without a
network, reads only what it is given, and writes nothing there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from kilnfolio import __version__
from kilnfolio.archive.bag import ABOUT, BAGS, read_bag, verify_files
from kilnfolio.archive.canonical import read_json, sha256
from kilnfolio.archive.compare import Compared, Difference, compare, count_numbers, differ
from kilnfolio.archive.entries import Entry
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.ledger import (
    KEPT,
    LEDGER,
    Ledger,
    Line,
    dossier_path,
    parse_ledger,
    read_ledger,
)
from kilnfolio.archive.recompute import gather, review_again
from kilnfolio.review.dossier import Part

MILL_RECORD = "content/mill.yaml"
#: Files by which a bag is known even when one of them was taken out of it.
_BAG_MARKS = ("bagit.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt")


class NothingToAuditError(Exception):
    """There is no bag and no mill folder at this path."""


class SealAudit(Part):
    """One sealed version of a charge, computed again."""

    charge: str
    """Charge number."""
    entry: int
    """Its entry in the ledger."""
    kind: str
    """seal or amendment."""
    sealed_at: str
    """When."""
    by: str
    """Who."""
    reason: str = ""
    """Why it was amended."""
    dossier: str
    """SHA-256 sealed."""
    public_key: str
    """The key it is signed with."""
    rules_sealed: dict[str, Any]
    """The versions it was sealed under."""
    rules_now: dict[str, Any]
    """The versions it was computed again with."""
    files: int
    """Files it was computed again from."""
    numbers: int
    """Numbers compared."""
    differences: tuple[Difference, ...]
    """What is not as sealed."""
    moved: tuple[Difference, ...] = ()
    """What later rules give differently: neither confirmed nor refuted."""
    new: tuple[Difference, ...] = ()
    """What later rules add."""
    rules_changes: tuple[str, ...] = ()
    """What each version of the rules since the seal changed, in its own words."""
    notes: tuple[Difference, ...]
    """What changed without moving a number."""


    @property
    def verdict(self) -> str:
        """How it compares, in words."""
        count = len(self.differences)
        parts = [f"{count} difference{'s' if count != 1 else ''}"] if count else []
        if self.rules_changes:
            parts.append(f"sealed under rules {self.rules_sealed.get('version')}, computed again "
                         f"under rules {self.rules_now.get('version')}: "
                         f"{differ(self.moved, self.new)}")
        return "; ".join(parts) or "the same"


class FolderAudit(Part):
    """One bag or one mill folder."""

    path: str
    """Where it lies, as given."""
    kind: Literal["bag", "mill"]
    """What it is."""
    files: int
    """Files checked against manifests; none in a mill folder."""
    entries: int
    """Entries of its ledger."""
    differences: tuple[Difference, ...]
    """What is wrong with its files and its ledger."""
    seals: tuple[SealAudit, ...]
    """Every sealed version in it."""
    unsealed: tuple[str, ...] = ()
    """Charges of a mill that are not sealed; files of a bag that no seal covers."""


class AuditReport(Part):
    """What an audit found."""

    path: str
    """What was audited."""
    kilnfolio: str
    """The version that computed again."""
    trusted_keys: tuple[str, ...]
    """Public keys had by another way; where none, only the list that came along was at hand."""
    folders: tuple[FolderAudit, ...]
    """Each bag or mill folder."""
    differences: tuple[Difference, ...]
    """What does not agree between bags."""
    without_bag: tuple[str, ...] = ()
    """Charges that the ledger of these bags seals, and whose bags are not among them."""

    @property
    def all_differences(self) -> tuple[Difference, ...]:
        """Everything that differs."""
        found = list(self.differences)
        for folder in self.folders:
            found += folder.differences
            found += [difference for seal in folder.seals for difference in seal.differences]
        return tuple(found)

    @property
    def holds(self) -> bool:
        """Nothing differs that may not; see `confirmed`."""
        return not self.all_differences

    @property
    def sealed(self) -> bool:
        """There is a sealed charge to compute again."""
        return any(folder.seals for folder in self.folders)

    @property
    def confirmed(self) -> bool:
        """Every sealed figure was computed again, under the rules it was sealed by, and is so."""
        return self.sealed and self.holds and not self.unconfirmed

    @property
    def unconfirmed(self) -> tuple[SealAudit, ...]:
        """Seals of which later rules give something differently, so that it is not confirmed."""
        return tuple(seal for folder in self.folders for seal in folder.seals if seal.moved)

    @property
    def verdict(self) -> str:
        """The whole of it in a sentence; it never says more than was confirmed."""
        count = len(self.all_differences)
        words = f"{count} difference{'s' if count != 1 else ''}" if count else "nothing differs"
        if not self.sealed and not count:
            return "no charge is sealed yet, so there is nothing to compute again"
        if not self.unconfirmed:
            return words
        moved = sum(len(seal.moved) for seal in self.unconfirmed)
        here = words if count else "nothing else differs"
        charges = len({seal.charge for seal in self.unconfirmed})
        return (f"{here}; {moved} figure{'s' if moved != 1 else ''} of {charges} "
                f"charge{'s' if charges != 1 else ''} not confirmed: sealed under earlier rules, "
                "which give them differently")


def audit(path: Path, *, trusted: Sequence[str] = ()) -> AuditReport:
    """Audit a bag, a folder of bags, or a mill folder.

    Parameters
    ----------
    path : Path
        What is audited.
    trusted : sequence of str
        The mill's public keys, had from it by another way; no other key is then taken.

    Raises
    ------
    NothingToAuditError
        There is no bag and no mill folder at `path`.
    """
    if _is_bag(path):
        folders = [_audit_bag(path, str(path), trusted)]
    elif (path / MILL_RECORD).exists():
        folders = [_audit_mill(path, trusted)]
    else:
        folders = [_audit_bag(bag, bag.relative_to(path).as_posix(), trusted)
                   for bag in _bags_below(path)]
    if not folders and not _is_of_an_edition(path):
        raise NothingToAuditError(f"{path}: there is no bag here (a folder with bagit.txt) and no "
                                  f"mill folder (with {MILL_RECORD})")
    furthest = _furthest(path, folders) if not _is_bag(path) else None
    return AuditReport(path=str(path), kilnfolio=__version__, trusted_keys=tuple(trusted),
                       folders=tuple(folders),
                       differences=tuple(_forks(path, folders, furthest) if furthest else ()),
                       without_bag=tuple(_without_bag(folders, furthest) if furthest else ()))


def _is_bag(path: Path) -> bool:
    return any((path / mark).is_file() for mark in _BAG_MARKS)


def _is_of_an_edition(path: Path) -> bool:
    return any((path / place / ABOUT).is_file() for place in ("", BAGS))


def _bags_below(path: Path) -> list[Path]:
    marks = [found.parent for mark in _BAG_MARKS for found in path.rglob(mark)]
    bags = sorted(set(marks))
    return [bag for bag in bags if not any(above in bags for above in bag.parents)]


def _audit_bag(path: Path, name: str, trusted: Sequence[str]) -> FolderAudit:
    files, differences = read_bag(path)
    differences += verify_files(files)
    if any(difference.kind == "not-a-file" for difference in differences):
        return FolderAudit(path=name, kind="bag", files=len(files), entries=0, seals=(),
                           differences=tuple(differences))  # a link is not followed
    root = path / "data"
    charge = _charge_of(files)
    ledger = read_ledger(root, trusted=trusted, only=charge)
    entries = ledger.of(charge) if charge else ()
    if not entries:
        differences.append(Difference(kind="nothing-sealed", where="data", what="the ledger here "
                                      "has no entry for a charge whose record is here"))
    elif sha256(files.get("data/dossier.json", b"")) != entries[-1].dossier:
        differences.append(Difference(
            kind="dossier-changed", where="data/dossier.json", sealed=entries[-1].dossier,
            found=sha256(files.get("data/dossier.json", b"")),
            what=f"it is not the dossier entry {entries[-1].number} sealed"))
    seals = [_audit_seal(root, entries, place, closed=True) for place in range(len(entries))]
    return FolderAudit(
        path=name, kind="bag", files=len(files), entries=len(ledger.entries), seals=tuple(seals),
        differences=(*differences, *_below("data/", ledger.differences)),
        unsealed=tuple(_not_sealed(files, entries)))


def _not_sealed(files: dict[str, bytes], entries: tuple[Entry, ...]) -> list[str]:
    """Return the payload that only the manifests vouch for, as a record in PDF."""
    sealed = {f"data/{place}" for entry in entries for file in entry.files
              for place in (file.path, (KEPT / file.sha256).as_posix())}
    sealed |= {f"data/{dossier_path(entry.charge, place)}"
               for place, entry in enumerate(entries, 1)}
    sealed |= {"data/dossier.json", f"data/{LEDGER}", f"data/{KEYRING}"}
    return [path for path in files if path.startswith("data/") and path not in sealed]


def _charge_of(files: dict[str, bytes]) -> str | None:
    """Return the charge a bag is about: the one whose record lies in it."""
    found = [Path(path).parent.name for path in files
             if path.startswith("data/content/charges/") and path.endswith("/charge.yaml")]
    if not found:  # the record was taken out: the sealed dossier's name still says
        found = [Path(path).name.rpartition("-")[0] for path in files
                 if path.startswith("data/content/ledger/dossiers/")]
    return found[0] if found else None


def _below(folder: str, differences: Sequence[Difference]) -> list[Difference]:
    return [difference.model_copy(update={"where": folder + difference.where})
            for difference in differences]


def _audit_mill(path: Path, trusted: Sequence[str]) -> FolderAudit:
    ledger = read_ledger(path, trusted=trusted)
    seals = []
    for charge in ledger.charges:
        entries = ledger.of(charge)
        seals += [_audit_seal(path, entries, place, closed=False) for place in range(len(entries))]
    records = (path / "content/charges").glob("*/*/charge.yaml")
    unsealed = sorted({record.parent.name for record in records}
                      - set(ledger.charges))
    return FolderAudit(path=str(path), kind="mill", files=0, entries=len(ledger.entries),
                       differences=ledger.differences, seals=tuple(seals),
                       unsealed=tuple(unsealed))


def _audit_seal(root: Path, entries: tuple[Entry, ...], place: int, *, closed: bool) -> SealAudit:
    entry = entries[place]
    path = dossier_path(entry.charge, place + 1)
    sealed = _json(root / path)
    gathered = gather(root, entry, holds=place == len(entries) - 1, closed=closed)
    again = review_again(gathered.files, entry.charge)
    differences, notes, compared = gathered.differences, list[Difference](), Compared()
    if isinstance(again, list):
        differences += again
        again = {}
    elif sealed is not None:
        compared = compare(sealed, again, path.as_posix())
        differences += compared.differences
        notes += compared.notes
    prefix = "data/" if closed else ""
    return SealAudit(
        charge=entry.charge, entry=entry.number, kind=entry.kind, sealed_at=entry.at.isoformat(),
        by=entry.by, reason=entry.reason or "", dossier=entry.dossier, public_key=entry.public_key,
        rules_sealed=_rules(sealed), rules_now=_rules(again), files=len(gathered.files),
        numbers=count_numbers({key: value for key, value in again.items() if key != "inputs"}),
        differences=tuple(_below(prefix, differences)), notes=tuple(_below(prefix, notes)),
        moved=tuple(_below(prefix, compared.moved)), new=tuple(_below(prefix, compared.new)),
        rules_changes=tuple(f"rules {change.version}: {change.what}"
                            for change in compared.changes))


def _json(path: Path) -> dict[str, Any] | None:
    try:
        value = read_json(path.read_bytes())
    except (OSError, ValueError):
        return None  # named with the ledger: it is missing or changed
    return value if isinstance(value, dict) else None


def _rules(dossier: dict[str, Any] | None) -> dict[str, Any]:
    rules = (dossier or {}).get("rules")
    return rules if isinstance(rules, dict) else {}


@dataclass(frozen=True)
class _Furthest:
    """The bag whose ledger goes furthest."""

    where: str
    ledger: Ledger


def _furthest(path: Path, folders: Sequence[FolderAudit]) -> _Furthest | None:
    bags = [folder for folder in folders if folder.kind == "bag" and folder.entries]
    if not bags:
        return None
    where = max(bags, key=lambda folder: folder.entries).path
    return _Furthest(where, parse_ledger((path / where / "data" / LEDGER).read_bytes()))


def _without_bag(folders: Sequence[FolderAudit], furthest: _Furthest) -> Iterator[str]:
    here = {seal.charge for folder in folders for seal in folder.seals}
    yield from (charge for charge in furthest.ledger.charges if charge not in here)


def _forks(path: Path, folders: Sequence[FolderAudit], furthest: _Furthest) -> Iterator[Difference]:
    """Name bags that do not agree with the one whose ledger goes furthest."""
    for folder in folders:
        if folder.entries:
            lines = parse_ledger((path / folder.path / "data" / LEDGER).read_bytes()).lines
            yield from _fork(folder, lines, furthest.ledger.lines, furthest.where)


def _fork(folder: FolderAudit, lines: Sequence[Line], longer: Sequence[Line], where: str
          ) -> Iterator[Difference]:
    for line, other in zip(lines, longer, strict=False):
        if line.raw != other.raw:
            yield Difference(
                kind="ledgers-disagree", where=folder.path, what=f"entry {line.entry.number} is "
                f"not the one in {where}; a mill has one ledger, so one of the two was written "
                "anew")
            return
    charges = {seal.charge for seal in folder.seals}
    for other in longer[len(lines):]:
        if isinstance(other.entry, Entry) and other.entry.charge in charges:
            yield Difference(
                kind="bag-out-of-date", where=folder.path, what=f"{other.entry.charge} was amended "
                f"since, by entry {other.entry.number} of the ledger in {where}")
