"""All of it checked, by somebody who trusts none of it.

A bag, a folder of bags or a mill folder: its manifests, its ledger and signatures, and every
sealed dossier computed again from the raw files and compared number by number. It works without a
network, reads only what it is given, and writes nothing there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Literal

from kilnfolio import __version__
from kilnfolio.archive.bag import read_bag, verify_files
from kilnfolio.archive.canonical import read_json, sha256
from kilnfolio.archive.compare import Difference, compare, count_numbers
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.ledger import (
    KEPT,
    LEDGER,
    Entry,
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
    notes: tuple[Difference, ...]
    """What changed without moving a number."""


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
        """Nothing differs."""
        return not self.all_differences


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
    if not folders:
        raise NothingToAuditError(f"{path}: there is no bag here (a folder with bagit.txt) and no "
                                  f"mill folder (with {MILL_RECORD})")
    return AuditReport(path=str(path), kilnfolio=__version__, trusted_keys=tuple(trusted),
                       folders=tuple(folders), differences=tuple(_forks(path, folders)))


def _is_bag(path: Path) -> bool:
    return any((path / mark).is_file() for mark in _BAG_MARKS)


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
    differences, notes = gathered.differences, gathered.notes
    if isinstance(again, list):
        differences += again
        again = {}
    elif sealed is not None:
        moved, reworded = compare(sealed, again, path.as_posix())
        differences, notes = differences + moved, notes + reworded
    prefix = "data/" if closed else ""
    return SealAudit(
        charge=entry.charge, entry=entry.number, kind=entry.kind, sealed_at=entry.at.isoformat(),
        by=entry.by, reason=entry.reason or "", dossier=entry.dossier, public_key=entry.public_key,
        rules_sealed=_rules(sealed), rules_now=_rules(again), files=len(gathered.files),
        numbers=count_numbers({key: value for key, value in again.items() if key != "inputs"}),
        differences=tuple(_below(prefix, differences)), notes=tuple(_below(prefix, notes)))


def _json(path: Path) -> dict[str, Any] | None:
    try:
        value = read_json(path.read_bytes())
    except (OSError, ValueError):
        return None  # named with the ledger: it is missing or changed
    return value if isinstance(value, dict) else None


def _rules(dossier: dict[str, Any] | None) -> dict[str, Any]:
    rules = (dossier or {}).get("rules")
    return rules if isinstance(rules, dict) else {}


def _forks(path: Path, folders: Sequence[FolderAudit]) -> list[Difference]:
    """Name bags that do not agree with the one whose ledger goes furthest."""
    bags = [folder for folder in folders if folder.entries and len(folders) > 1]
    if not bags:
        return []
    furthest = max(bags, key=lambda folder: folder.entries)
    ledger = parse_ledger((path / furthest.path / "data" / LEDGER).read_bytes())
    differences: list[Difference] = []
    for folder in bags:
        lines = parse_ledger((path / folder.path / "data" / LEDGER).read_bytes()).lines
        differences += _fork(folder, lines, ledger.lines, furthest.path)
    return differences


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
