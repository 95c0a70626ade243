"""The audit: checks everything without trusting any of it.

It checks the manifests, ledger and signatures of a bag, a folder of bags, an edition or a mill
folder, computes every sealed dossier again from the raw files, and compares it number by number. It
works without a network, reads only what it is given, and writes nothing there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Container, Iterator, Sequence
from concurrent.futures import as_completed
from pathlib import Path
from typing import Any

from kilnfolio import __version__
from kilnfolio.archive.audited import AuditReport, EditionAudit, FolderAudit, SealAudit
from kilnfolio.archive.bag import ABOUT, BAGS, about_bags, read_bag, verify_files
from kilnfolio.archive.canonical import json_object, sha256
from kilnfolio.archive.checking import read_bag_ledger, read_ledger
from kilnfolio.archive.compare import Compared, Difference, compare, count_numbers
from kilnfolio.archive.edition import MANIFEST, EditionFiles, missing_entries, read_edition
from kilnfolio.archive.entries import Entry, Head, LotEntry
from kilnfolio.archive.heads import LEAVES, OTHERS
from kilnfolio.archive.heads_compared import compare_heads, tree_of
from kilnfolio.archive.keyring import KEYRING, read_keyring
from kilnfolio.archive.ledger import parse_ledger
from kilnfolio.archive.lots import lot_file_differences
from kilnfolio.archive.merkle import leaf_hash
from kilnfolio.archive.own import apart, not_run, own_code_differences
from kilnfolio.archive.places import KEPT, dossier_path
from kilnfolio.archive.proofs import PROOF
from kilnfolio.archive.recompute import gather, review_again
from kilnfolio.archive.remaking import (
    Remakers,
    compare_remade_bag,
    compare_remade_lots,
    compare_remade_pages,
    sealed_paths,
)
from kilnfolio.archive.trust import KnownKeys, TrustedKey
from kilnfolio.records.problems import RecordProblems
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.workers import Workers

MILL_RECORD = "content/mill.yaml"
#: Files by which a bag is recognized, even if one of them was removed.
_BAG_MARKS = ("bagit.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt")


class NothingToAuditError(Exception):
    """There is neither a bag nor a mill folder at this path."""


#: Reports progress: a label, the number done, and the total.
Tell = Callable[[str, int, int], None]
#: Fewest bags that justify starting other processes.
_WORTH_SHARING = 4
#: Modules that worker processes need, imported once by the fork server.
_PRELOAD = ("kilnfolio.archive.audit", "kilnfolio.paper.charge_pdf", "kilnfolio.site.pages_again")


def audit(
    path: Path,
    *,
    trusted: Sequence[TrustedKey] = (),
    since: Head | None = None,
    again: Remakers | None = None,
    manifest: Path | None = None,
    workers: int = 1,
    tell: Tell | None = None,
) -> AuditReport:
    """Audit a bag, a folder of bags, an edition, or a mill folder.

    Parameters
    ----------
    path : Path
        What to audit.
    trusted : sequence of TrustedKey
        The mill's public keys, obtained by another route; if given, no other key is accepted.
    since : Head, optional
        An earlier state of the ledger that somebody kept; the ledger must continue from it.
    again : Remakers, optional
        Functions that remake the files beside the sealed ones: records in PDF, lots, pages.
    manifest : Path, optional
        The manifest of an edition that does not contain it, such as the customer edition.
    workers : int
        Number of processes.
    tell : callable, optional
        Reports progress; takes a label, the number done and the total.

    Raises
    ------
    NothingToAuditError
        There is no bag, edition or mill folder at `path`.
    """
    again = again or Remakers()
    edition = manifest is not None or _is_edition(path)
    if _is_bag(path):
        folders = [_audit_bag(path, str(path), trusted, again, None)]
    elif (path / MILL_RECORD).exists():
        folders = [_audit_mill(path, trusted, again)]
    else:
        folders = _audit_bags(path, trusted, again, edition, workers, tell)
    if not folders and not edition and not _is_of_an_edition(path):
        raise NothingToAuditError(
            f"{path}: there is no bag here (a folder with bagit.txt), no edition (with {MANIFEST}) "
            f"and no mill folder (with {MILL_RECORD})"
        )
    differences, unknown = compare_heads(path, folders, since)
    return AuditReport(
        path=str(path),
        kilnfolio=__version__,
        trusted_keys=tuple(key.public_key for key in trusted),
        folders=tuple(folders),
        edition=_audit_edition(path, folders, trusted, again, manifest) if edition else None,
        differences=tuple(differences),
        open=tuple(unknown),
    )


def _audit_bags(
    path: Path,
    trusted: Sequence[TrustedKey],
    again: Remakers,
    edition: bool,
    workers: int,
    tell: Tell | None,
) -> list[FolderAudit]:
    """Audit every bag below a folder, in several processes if there are many."""
    bags = _bags_below(path)
    tell = tell or (lambda _what, _done, _total: None)
    tasks = [
        (bag, bag.relative_to(path).as_posix(), trusted, again, path if edition else None)
        for bag in bags
    ]
    if workers < 2 or len(bags) < _WORTH_SHARING:
        found = []
        for task in tasks:
            found.append(_audit_bag(*task))
            tell("bags audited", len(found), len(bags))
        return found
    tell("bags audited", 0, len(bags))
    with Workers(workers, _PRELOAD) as pool:
        futures = [pool.submit(_audit_bag, *task) for task in tasks]
        for done, _ in enumerate(as_completed(futures), 1):
            tell("bags audited", done, len(bags))
    return [future.result() for future in futures]


# --- an edition -----------------------------------------------------------------------------------


def _is_edition(path: Path) -> bool:
    return (path / MANIFEST).is_file() or (path / BAGS / ABOUT).is_file()


def _audit_edition(
    path: Path,
    folders: Sequence[FolderAudit],
    trusted: Sequence[TrustedKey],
    again: Remakers,
    manifest: Path | None,
) -> EditionAudit:
    """Check every file of an edition against its manifest, and compare what can be remade."""
    found = read_edition(path, manifest)
    if found.seal and found.seal.is_valid:
        found.differences += _edition_key(path, folders, found, trusted)
        found.differences += _edition_head(path, found.seal.head)
    same = {page for folder in folders for page in folder.pages}
    same |= {name for name in found.files if name.startswith(f"{BAGS}/") and name.count("/") > 1}
    if manifest is None:
        made = _made_of_package(folders, again)
        found.differences += _compare_bytes(path, made)
        same |= made.keys() & found.files.keys()
        tree = tree_of(path)
        if tree is not None:
            found.differences += missing_entries(len(tree), _entries_here(path, folders, tree))
    return EditionAudit(
        path=str(path),
        edition=found.seal.edition if found.seal else "",
        files=len(found.files),
        public_key=found.seal.public_key if found.seal else "",
        head=found.seal.head if found.seal else None,
        again=len(same),
        differences=tuple(found.differences),
        open=tuple(found.open),
    )


def _made_of_package(folders: Sequence[FolderAudit], again: Remakers) -> dict[str, bytes]:
    """Return the files of an edition that this version makes identically for every mill."""
    made = dict(again.package()) if again.package else {}
    if again.notice:
        charges = sorted({seal.charge for folder in folders for seal in folder.seals})
        made[f"{BAGS}/{ABOUT}"] = about_bags(charges, again.notice).encode()
    return made


def _compare_bytes(path: Path, made: dict[str, bytes]) -> Iterator[Difference]:
    for name, data in made.items():
        file = path / name
        if file.is_file() and read_file(file) != data:
            yield Difference(
                kind="file-differs",
                where=name,
                sealed=sha256(data),
                found=sha256(read_file(file)),
                what="made again, it is another file",
            )


def _edition_key(
    path: Path,
    folders: Sequence[FolderAudit],
    found: EditionFiles,
    trusted: Sequence[TrustedKey],
) -> Iterator[Difference]:
    """Report a manifest signed by a key that is not the mill's, or not one of those given."""
    assert found.seal is not None
    key = found.seal.public_key
    where = "edition-seal.json"
    for kind, what in KnownKeys(None, (), trusted).outside(key, dt.date.min):
        yield Difference(kind=kind, where=where, what=f"the manifest {what}", found=key)
    listed = set()
    for folder in folders:
        try:
            keyring = read_keyring(path / folder.path / "data")
        except (RecordProblems, OSError):
            continue
        listed |= {one.public_key for one in keyring.keys} if keyring else set()
    if listed and key not in listed:
        yield Difference(
            kind="edition-key-unknown",
            where=where,
            found=key,
            what=f"the manifest is signed by a key that no {KEYRING.as_posix()} here lists",
        )


def _edition_head(path: Path, head: Head | None) -> Iterator[Difference]:
    """Compare the leaves of the ledger in the edition with the state that the manifest names."""
    tree = tree_of(path)
    if tree is None or head is None:
        return
    if head.size != len(tree) or head.root != tree.root().hex():
        yield Difference(
            kind="ledgers-disagree",
            where=f"{BAGS}/{LEAVES}",
            sealed=head.root,
            found=tree.root().hex(),
            what=f"it is not the ledger of {head.size} entries this edition was signed with",
        )


def _entries_here(path: Path, folders: Sequence[FolderAudit], tree: Any) -> list[int]:
    """Return the numbers of entries that are in bags or belong to no charge."""
    numbers = [number for folder in folders for number in folder.numbers]
    others = path / BAGS / OTHERS
    if others.is_file():
        leaves = tree.leaves
        numbers += [
            line.entry.number
            for line in parse_ledger(read_file(others), others.name).lines
            if line.entry.number <= len(leaves)
            and leaf_hash(line.raw) == leaves[line.entry.number - 1]
        ]
    return numbers


# --- a bag or a mill ------------------------------------------------------------------------------


def _is_bag(path: Path) -> bool:
    return any((path / mark).is_file() for mark in _BAG_MARKS)


def _is_of_an_edition(path: Path) -> bool:
    return any((path / place / ABOUT).is_file() for place in ("", BAGS))


def _bags_below(path: Path) -> list[Path]:
    marks = [found.parent for mark in _BAG_MARKS for found in path.rglob(mark)]
    bags = sorted(set(marks))
    return [bag for bag in bags if not any(above in bags for above in bag.parents)]


def _audit_bag(
    path: Path,
    name: str,
    trusted: Sequence[TrustedKey],
    again: Remakers,
    edition: Path | None,
) -> FolderAudit:
    """Audit one bag, and the pages made from it if it is part of an edition."""
    files, differences = read_bag(path)
    differences += verify_files(files)
    if any(difference.kind == "not-a-file" for difference in differences):
        return FolderAudit(
            path=name,
            kind="bag",
            files=len(files),
            entries=0,
            seals=(),
            differences=tuple(differences),
        )  # links are not followed
    differences += _kept(files)
    root = path / "data"
    charge = _charge_of(files)
    ledger, proof = read_bag_ledger(root, trusted)
    entries = ledger.of_charge(charge) if charge else ()
    differences += _dossier_as_sealed(files, entries)
    seals = [
        _audit_seal(root, entries, place, closed=True, run_own=again.run_own)
        for place in range(len(entries))
    ]
    unknown = [*_times(root, entries), *_own_not_run(root, entries, again)]
    if proof is None:
        unknown.append(_NO_PROOF)
    if entries:
        beside = _unsealed_files(files, sealed_paths(ledger, entries))
        made, not_made = compare_remade_bag(root, files, ledger, proof, entries, beside, again)
        differences += made
        unknown += not_made
    pages: tuple[str, ...] = ()
    if edition and entries:
        wrong, not_made, pages = compare_remade_pages(edition, root, files, entries, again)
        differences += wrong
        unknown += not_made
    lots = [entry for entry in ledger.entries if isinstance(entry, LotEntry)]
    lots_made, lot_differences, not_made = compare_remade_lots(root, ledger, lots, again)
    differences += _below("data/", lot_differences)
    unknown += not_made
    return FolderAudit(
        path=name,
        kind="bag",
        files=len(files),
        entries=len(ledger.entries),
        seals=tuple(seals),
        lots=tuple(lots_made),
        head=Head(size=proof.head.size, root=proof.head.root) if proof else None,
        differences=(*differences, *_below("data/", ledger.differences)),
        open=tuple(unknown),
        numbers=tuple(line.entry.number for line in ledger.lines),
        pages=pages,
    )


_NO_PROOF = Difference(
    kind="no-proof",
    where=f"data/{PROOF.as_posix()}",
    what="nothing shows that the entries are in the mill's ledger: no head was signed since",
)


def _dossier_as_sealed(files: dict[str, bytes], entries: Sequence[Entry]) -> Iterator[Difference]:
    """Report a dossier that is not the one sealed last, or that nothing sealed."""
    if not entries:
        yield Difference(
            kind="nothing-sealed",
            where="data",
            what="the ledger here has no entry for a charge whose record is here",
        )
        return
    found = sha256(files.get("data/dossier.json", b""))
    if found != entries[-1].dossier:
        yield Difference(
            kind="dossier-changed",
            where="data/dossier.json",
            sealed=entries[-1].dossier,
            found=found,
            what=f"it is not the dossier entry {entries[-1].number} sealed",
        )


def _unsealed_files(files: dict[str, bytes], sealed: Container[str]) -> dict[str, bytes]:
    """Return the files of a bag that no seal covers, without the manifests that list them."""
    return {
        path: data
        for path, data in files.items()
        if path not in sealed
        and not path.startswith(("manifest-", "tagmanifest-"))
        and path != "bagit.txt"
    }


def _kept(files: dict[str, bytes]) -> Iterator[Difference]:
    """Report kept copies whose SHA-256 is not their name."""
    home = f"data/{KEPT.as_posix()}/"
    for path, data in files.items():
        if path.startswith(home) and sha256(data) != path.removeprefix(home):
            yield Difference(
                kind="kept-file-changed",
                where=path,
                sealed=path.removeprefix(home),
                found=sha256(data),
                what="it is not the file its name says, by SHA-256",
            )


def _times(root: Path, entries: tuple[Entry, ...]) -> Iterator[Difference]:
    """Report seals dated before their charge ended, or in the future."""
    now = dt.datetime.now(dt.UTC)
    for place, entry in enumerate(entries, 1):
        dossier = json_object(root / dossier_path(entry.charge, place)) or {}
        ended = dossier.get("ended")
        if isinstance(ended, str) and entry.at < dt.datetime.fromisoformat(ended):
            yield Difference(
                kind="sealed-before-it-ended",
                where=f"entry {entry.number}",
                what=f"{entry.charge} is sealed {entry.at.isoformat()}, and ended "
                f"{ended}: ask the mill about its clock",
            )
        if entry.at > now:
            yield Difference(
                kind="sealed-in-the-future",
                where=f"entry {entry.number}",
                what=f"{entry.charge} is sealed {entry.at.isoformat()}, and that is "
                "later than this computer's clock: ask the mill about its clock",
            )


def _own_not_run(root: Path, entries: tuple[Entry, ...], again: Remakers) -> Iterator[Difference]:
    """Report findings of a mill's own checks that were not recomputed."""
    for place, entry in enumerate(entries if not again.run_own else (), 1):
        path = dossier_path(entry.charge, place)
        yield from not_run(json_object(root / path) or {}, path.as_posix())


def _charge_of(files: dict[str, bytes]) -> str | None:
    """Return the charge of a bag: the one whose record it contains."""
    found = [
        Path(path).parent.name
        for path in files
        if path.startswith("data/content/charges/") and path.endswith("/charge.yaml")
    ]
    if not found:  # the record was removed, but the sealed dossier's name still tells
        found = [
            Path(path).name.rpartition("-")[0]
            for path in files
            if path.startswith("data/content/ledger/dossiers/")
        ]
    return found[0] if found else None


def _below(folder: str, differences: Sequence[Difference]) -> list[Difference]:
    return [
        difference.model_copy(update={"where": folder + difference.where})
        for difference in differences
    ]


def _audit_mill(path: Path, trusted: Sequence[TrustedKey], again: Remakers) -> FolderAudit:
    ledger = read_ledger(path, trusted=trusted)
    seals: list[SealAudit] = []
    unknown: list[Difference] = []
    for charge in ledger.charges:
        entries = ledger.of_charge(charge)
        seals += [
            _audit_seal(path, entries, place, closed=False, run_own=again.run_own)
            for place in range(len(entries))
        ]
        unknown += [*_times(path, entries), *_own_not_run(path, entries, again)]
    records = (path / "content/charges").glob("*/*/charge.yaml")
    unsealed = sorted({record.parent.name for record in records} - set(ledger.charges))
    lots = [entry for lot in ledger.lots for entry in ledger.of_lot(lot)]
    made, lot_differences, not_made = compare_remade_lots(path, ledger, lots, again)
    unknown += not_made
    size = len(ledger.lines)
    head = Head(size=size, root=ledger.tree.root().hex()) if size else None
    return FolderAudit(
        path=str(path),
        kind="mill",
        files=0,
        entries=size,
        head=head,
        differences=(*ledger.differences, *lot_differences, *lot_file_differences(path, ledger)),
        lots=tuple(made),
        seals=tuple(seals),
        open=tuple(unknown),
        unsealed=tuple(unsealed),
    )


def _audit_seal(
    root: Path, entries: tuple[Entry, ...], place: int, *, closed: bool, run_own: bool
) -> SealAudit:
    entry = entries[place]
    path = dossier_path(entry.charge, place + 1)
    sealed = json_object(root / path)
    gathered = gather(root, entry, is_last=place == len(entries) - 1, closed=closed)
    again = review_again(gathered.files, entry.charge, run_own=run_own)
    differences, notes, compared = gathered.differences, list[Difference](), Compared()
    if isinstance(again, list):
        differences += again
        again = {}
    elif sealed is not None:
        compared = compare(sealed if run_own else apart(sealed)[0], again, path.as_posix())
        differences += compared.differences
        differences += own_code_differences(sealed, entry, path.as_posix())
        notes += compared.notes
    prefix = "data/" if closed else ""
    return SealAudit(
        charge=entry.charge,
        entry=entry.number,
        kind=entry.kind,
        sealed_at=entry.at.isoformat(),
        by=entry.by,
        reason=entry.reason or "",
        dossier=entry.dossier,
        public_key=entry.public_key,
        rules_sealed=_rules(sealed),
        rules_now=_rules(again),
        files=len(gathered.files),
        numbers=count_numbers({key: value for key, value in again.items() if key != "inputs"}),
        differences=tuple(_below(prefix, differences)),
        notes=tuple(_below(prefix, notes)),
        moved=tuple(_below(prefix, compared.moved)),
        new=tuple(_below(prefix, compared.new)),
        rules_changes=tuple(
            f"rules {change.version}: {change.what}" for change in compared.changes
        ),
    )


def _rules(dossier: dict[str, Any] | None) -> dict[str, Any]:
    rules = (dossier or {}).get("rules")
    return rules if isinstance(rules, dict) else {}
