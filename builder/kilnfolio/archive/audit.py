"""All of it checked, by somebody who trusts none of it.

A bag, a folder of bags or a mill folder: its manifests, its ledger and signatures, and every
sealed dossier computed again from the raw files and compared number by number. It works without a
network, reads only what it is given, and writes nothing there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from kilnfolio import __version__
from kilnfolio.archive.as_sealed import kept_bytes
from kilnfolio.archive.bag import ABOUT, BAGS, derived_files, read_bag, verify_files
from kilnfolio.archive.canonical import canonical, read_json, sha256
from kilnfolio.archive.checking import read_bag_ledger, read_ledger
from kilnfolio.archive.compare import Compared, Difference, compare, count_numbers, differ
from kilnfolio.archive.entries import Entry, Head, LotEntry
from kilnfolio.archive.heads import LEAVES, read_leaves
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.ledger import KEPT, LEDGER, Ledger, dossier_path, parse_ledger
from kilnfolio.archive.merkle import Tree
from kilnfolio.archive.proofs import ENTRIES, PROOF, BagLedger, Proof, lot_records
from kilnfolio.archive.recompute import gather, laid_out, review_again
from kilnfolio.archive.standing import demo_keys
from kilnfolio.archive.trust import TrustedKey
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier, Part
from kilnfolio.review.versions import rules_version

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
            parts.append(
                f"sealed under rules {self.rules_sealed.get('version')}, computed again "
                f"under rules {self.rules_now.get('version')}: "
                f"{differ(self.moved, self.new)}"
            )
        return "; ".join(parts) or "the same"


class LotAudit(Part):
    """One sealed record of a lot, made again."""

    lot: str
    """Lot number."""
    entry: int
    """Its entry in the ledger."""
    same: bool
    """Made again, it is the same to the byte."""


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
    head: Head | None = None
    """The signed state of the ledger; none where none is signed."""
    differences: tuple[Difference, ...]
    """What is wrong with its files and its ledger."""
    seals: tuple[SealAudit, ...]
    """Every sealed version in it."""
    lots: tuple[LotAudit, ...] = ()
    """Every sealed record of a lot that was made again."""
    open: tuple[Difference, ...] = ()
    """What could not be confirmed, and times that cannot be right."""
    unsealed: tuple[str, ...] = ()
    """Charges of a mill that are not sealed."""


#: What an audit ends with, the best first.
Outcome = Literal["identical", "identical, key not confirmed", "incomplete", "differs"]


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
    """What does not agree between bags, or with an earlier head."""
    open: tuple[Difference, ...] = ()
    """What could not be confirmed of them together."""

    @property
    def all_differences(self) -> tuple[Difference, ...]:
        """Everything that differs."""
        found = list(self.differences)
        for folder in self.folders:
            found += folder.differences
            found += [difference for seal in folder.seals for difference in seal.differences]
        return tuple(found)

    @property
    def all_open(self) -> tuple[Difference, ...]:
        """Everything that was not confirmed."""
        return (*self.open, *(one for folder in self.folders for one in folder.open))

    @property
    def holds(self) -> bool:
        """Nothing differs that may not; see `outcome`."""
        return not self.all_differences

    @property
    def sealed(self) -> bool:
        """There is a sealed charge to compute again."""
        return any(folder.seals for folder in self.folders)

    @property
    def unconfirmed(self) -> tuple[SealAudit, ...]:
        """Seals of which later rules give something differently, so that it is not confirmed."""
        return tuple(seal for folder in self.folders for seal in folder.seals if seal.moved)

    @property
    def outcome(self) -> Outcome:
        """What it ends with; it never says more than was confirmed."""
        if not self.holds:
            return "differs"
        if not self.sealed or self.unconfirmed or self.all_open:
            return "incomplete"
        return "identical" if self.trusted_keys else "identical, key not confirmed"

    @property
    def verdict(self) -> str:
        """The same in a sentence."""
        count = len(self.all_differences)
        if count:
            return f"differs: {count} difference{'s' if count != 1 else ''}"
        if not self.sealed:
            return "incomplete: no charge is sealed yet, so there is nothing to compute again"
        if self.outcome == "incomplete":
            return f"incomplete: nothing differs, but {'; '.join(self._lacks())}"
        same = "recomputed and identical"
        return (
            same
            if self.trusted_keys
            else f"{same}, but the key was not had from the mill by another way (--key)"
        )

    def _lacks(self) -> Iterator[str]:
        if self.unconfirmed:
            moved = sum(len(seal.moved) for seal in self.unconfirmed)
            charges = len({seal.charge for seal in self.unconfirmed})
            yield (
                f"{moved} figure{'s' if moved != 1 else ''} of {charges} "
                f"charge{'s' if charges != 1 else ''} not confirmed: sealed under earlier "
                "rules, which give them differently"
            )
        if count := len(self.all_open):
            yield f"{count} thing{'s' if count != 1 else ''} could not be confirmed"


def audit(
    path: Path,
    *,
    trusted: Sequence[TrustedKey] = (),
    since: Head | None = None,
    notice: str = "",
    made_again: MadeAgain | None = None,
    lot_again: LotAgain | None = None,
) -> AuditReport:
    """Audit a bag, a folder of bags, or a mill folder.

    Parameters
    ----------
    path : Path
        What is audited.
    trusted : sequence of TrustedKey
        The mill's public keys, had from it by another way; no other key is then taken.
    since : Head, optional
        An earlier state of the ledger that somebody kept: what is audited must go on from it.
    notice : str
        The safety wording, which the files made for a bag print.
    made_again : callable, optional
        Makes again what a bag holds beside the sealed files, as its record in PDF.
    lot_again : callable, optional
        Makes the record of a lot again.

    Raises
    ------
    NothingToAuditError
        There is no bag and no mill folder at `path`.
    """
    again = _Again(notice, made_again, lot_again)
    if _is_bag(path):
        folders = [_audit_bag(path, str(path), trusted, again)]
    elif (path / MILL_RECORD).exists():
        folders = [_audit_mill(path, trusted, again)]
    else:
        folders = [
            _audit_bag(bag, bag.relative_to(path).as_posix(), trusted, again)
            for bag in _bags_below(path)
        ]
    if not folders and not _is_of_an_edition(path):
        raise NothingToAuditError(
            f"{path}: there is no bag here (a folder with bagit.txt) and no "
            f"mill folder (with {MILL_RECORD})"
        )
    differences, unknown = compare_heads(path, folders, since)
    return AuditReport(
        path=str(path),
        kilnfolio=__version__,
        trusted_keys=tuple(key.public_key for key in trusted),
        folders=tuple(folders),
        differences=tuple(differences),
        open=tuple(unknown),
    )


#: Makes the record of a lot again: takes the library, the charges and the lot as sealed, its
#: number, what the record says it was made from, and the sealed dossiers.
LotAgain = Callable[[MillFolder, str, Mapping[str, Any], Mapping[str, Dossier]], bytes]
#: Makes files of a bag again: takes the records as sealed, the sealed dossier's bytes, the charge's
#: entries and the demonstration's keys, and returns files by path below ``data/``.
MadeAgain = Callable[[MillFolder, bytes, tuple[Entry, ...], frozenset[str]], Mapping[str, bytes]]


@dataclass(frozen=True)
class _Again:
    notice: str
    make: MadeAgain | None
    lot: LotAgain | None


def _is_bag(path: Path) -> bool:
    return any((path / mark).is_file() for mark in _BAG_MARKS)


def _is_of_an_edition(path: Path) -> bool:
    return any((path / place / ABOUT).is_file() for place in ("", BAGS))


def _bags_below(path: Path) -> list[Path]:
    marks = [found.parent for mark in _BAG_MARKS for found in path.rglob(mark)]
    bags = sorted(set(marks))
    return [bag for bag in bags if not any(above in bags for above in bag.parents)]


def _audit_bag(path: Path, name: str, trusted: Sequence[TrustedKey], again: _Again) -> FolderAudit:
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
        )  # a link is not followed
    root = path / "data"
    charge = _charge_of(files)
    ledger, proof = read_bag_ledger(root, trusted)
    entries = ledger.of(charge) if charge else ()
    if not entries:
        differences.append(
            Difference(
                kind="nothing-sealed",
                where="data",
                what="the ledger here has no entry for a charge whose record is here",
            )
        )
    elif sha256(files.get("data/dossier.json", b"")) != entries[-1].dossier:
        differences.append(
            Difference(
                kind="dossier-changed",
                where="data/dossier.json",
                sealed=entries[-1].dossier,
                found=sha256(files.get("data/dossier.json", b"")),
                what=f"it is not the dossier entry {entries[-1].number} sealed",
            )
        )
    seals = [_audit_seal(root, entries, place, closed=True) for place in range(len(entries))]
    unknown = [*_times(root, entries)]
    if proof is None:
        unknown.append(
            Difference(
                kind="no-proof",
                where=f"data/{PROOF.as_posix()}",
                what="nothing shows that the "
                "entries stand in the mill's ledger: no head was signed since",
            )
        )
    sealed = _sealed_paths(ledger, entries)
    beside = {
        path: data
        for path, data in files.items()
        if path not in sealed
        and not path.startswith(("manifest-", "tagmanifest-"))
        and path != "bagit.txt"
    }
    if entries:
        made, not_made = _made_again(root, files, ledger, proof, entries, beside, again)
        differences += made
        unknown += not_made
    lots = [entry for entry in ledger.entries if isinstance(entry, LotEntry)]
    lots_made, lot_differences, not_made = _lots_again(root, ledger, lots, again)
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
    )


def _sealed_paths(ledger: Ledger, entries: tuple[Entry, ...]) -> set[str]:
    """Return the payload that seals vouch for, or that is the ledger itself."""
    sealed = {
        f"data/{place}"
        for entry in entries
        for file in entry.files
        for place in (file.path, (KEPT / file.sha256).as_posix())
    }
    sealed |= {
        f"data/{dossier_path(entry.charge, place)}" for place, entry in enumerate(entries, 1)
    }
    lots = tuple(entry for entry in ledger.entries if isinstance(entry, LotEntry))
    sealed |= {f"data/{path.as_posix()}" for path, _ in lot_records(lots)}
    sealed |= {f"data/{(KEPT / file.sha256).as_posix()}" for entry in lots for file in entry.files}
    return sealed | {
        "data/dossier.json",
        *(f"data/{one.as_posix()}" for one in (ENTRIES, PROOF, KEYRING)),
    }


def _made_again(
    root: Path,
    files: Mapping[str, bytes],
    ledger: Ledger,
    proof: Proof | None,
    entries: tuple[Entry, ...],
    beside: Mapping[str, bytes],
    again: _Again,
) -> tuple[list[Difference], list[Difference]]:
    """Compare what a bag holds beside the sealed files with the same made again."""
    last = entries[-1]
    sealed = files.get("data/dossier.json", b"")
    inputs = gather(root, last, holds=False, closed=True).files
    try:
        dossier = Dossier.model_validate_json(sealed)
        lots = tuple(entry for entry in ledger.entries if isinstance(entry, LotEntry))
        part = BagLedger(tuple(line.raw for line in ledger.lines), entries, lots, proof)
        payload = {
            path.removeprefix("data/"): data
            for path, data in files.items()
            if path.startswith("data/") and path != "data/datapackage.json"
        }
        with laid_out(inputs) as folder:
            made = derived_files(folder, dossier, part, inputs, payload, again.notice)
            if not again.notice:  # the words it prints are not known here
                del made["README.txt"]
            if again.make:
                made |= {
                    f"data/{path}": data
                    for path, data in again.make(folder, sealed, entries, demo_keys(root)).items()
                }
    except Exception:  # files somebody altered: what is wrong with them is named elsewhere
        made = {}
    differences, unknown = [], []
    ours = f"Bag-Software-Agent: kilnfolio {__version__}\n".encode() in files.get(
        "bag-info.txt", b""
    )
    for path, data in beside.items():
        if path not in made or (made[path] != data and not ours):
            unknown.append(
                Difference(
                    kind="not-made-again",
                    where=path,
                    what="no seal covers it, and it was not made "
                    "again from what is sealed"
                    + ("" if ours else ": another version of kilnfolio made it"),
                )
            )
        elif made[path] != data:
            differences.append(
                Difference(
                    kind="file-differs",
                    where=path,
                    sealed=sha256(made[path]),
                    found=sha256(data),
                    what="made again from what is sealed, it is another file",
                )
            )
    return differences, unknown


def _lots_again(
    root: Path, ledger: Ledger, lots: Sequence[LotEntry], again: _Again
) -> tuple[list[LotAudit], list[Difference], list[Difference]]:
    """Make the sealed records of lots again, and compare them."""
    audits, differences, unknown = [], [], []
    for path, entry in lot_records(lots):
        where = path.as_posix()
        sealed = _json(root / path)
        reason = ""
        if again.lot is None or sealed is None or not entry.files or not sealed.get("asked"):
            reason = "it holds too little to be made again: an older kilnfolio sealed it"
        elif lacking := [one.charge for one in entry.charges if not ledger.of(one.charge)]:
            reason = f"it also rests on {len(lacking)} charges that are not here"
        elif sealed.get("kilnfolio") != __version__ or sealed.get("rules") != rules_version():
            reason = (
                f"kilnfolio {sealed.get('kilnfolio')}, rules {sealed.get('rules')}, worded "
                "it; audit it with that version too"
            )
        if reason:
            unknown.append(Difference(kind="lot-not-made-again", where=where, what=reason))
            continue
        found = _lot_made_again(root, ledger, entry, sealed or {}, again)
        same = not found
        audits.append(LotAudit(lot=entry.lot, entry=entry.number, same=same))
        differences += [one.model_copy(update={"where": f"{where}{one.where}"}) for one in found]
    return audits, differences, unknown


def _lot_made_again(
    root: Path, ledger: Ledger, entry: LotEntry, sealed: dict[str, Any], again: _Again
) -> list[Difference]:
    try:
        files, dossiers = _for_lot(root, ledger, entry, sealed["asked"])
        assert again.lot is not None
        with laid_out(files) as folder:
            made = read_json(again.lot(folder, entry.lot, sealed["asked"], dossiers))
    except Exception as error:  # of what somebody may have altered: it is a finding
        return [
            Difference(
                kind="lot-not-made-again",
                where="",
                what=f"it cannot be made again from what is sealed ({type(error).__name__})",
            )
        ]
    keys = [key for key in dict.fromkeys([*sealed, *made]) if sealed.get(key) != made.get(key)]
    return [
        Difference(
            kind="value-differs",
            where=f"/{key}",
            sealed=str(sealed.get(key)),
            found=str(made.get(key)),
            what=f"sealed {sealed.get(key)!r}, made again {made.get(key)!r}",
        )
        for key in keys
    ]


def _for_lot(
    root: Path, ledger: Ledger, entry: LotEntry, asked: dict[str, Any]
) -> tuple[dict[str, bytes], dict[str, Dossier]]:
    """Return the files a lot was sealed on, without what stays in the mill, and the dossiers."""
    files: dict[str, bytes] = {}
    dossiers = {}
    for drawn in entry.charges:
        entries = ledger.of(drawn.charge)
        place = next(n for n, one in enumerate(entries, 1) if one.dossier == drawn.dossier)
        files |= gather(root, entries[place - 1], holds=False, closed=True).files
        raw = (root / dossier_path(drawn.charge, place)).read_bytes()
        dossiers[drawn.charge] = Dossier.model_validate_json(raw)
    for file in entry.files:
        if not entry.is_own(file.path):
            files[file.path] = kept_bytes(root, file)
    packs = [
        {
            **{key: value for key, value in pack.items() if key != "from"},
            "charge": entry.charges[pack["from"]].charge,
        }
        for pack in asked["packs"]
    ]
    # JSON is YAML too
    files[f"content/lots/{entry.lot}.yaml"] = canonical({"format": 1, **asked, "packs": packs})
    return files, dossiers


def _times(root: Path, entries: tuple[Entry, ...]) -> Iterator[Difference]:
    """Question seals dated before their charge ended, or later than now."""
    now = dt.datetime.now(dt.UTC)
    for place, entry in enumerate(entries, 1):
        dossier = _json(root / dossier_path(entry.charge, place)) or {}
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


def _charge_of(files: dict[str, bytes]) -> str | None:
    """Return the charge a bag is about: the one whose record lies in it."""
    found = [
        Path(path).parent.name
        for path in files
        if path.startswith("data/content/charges/") and path.endswith("/charge.yaml")
    ]
    if not found:  # the record was taken out: the sealed dossier's name still says
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


def _audit_mill(path: Path, trusted: Sequence[TrustedKey], again: _Again) -> FolderAudit:
    ledger = read_ledger(path, trusted=trusted)
    seals: list[SealAudit] = []
    unknown: list[Difference] = []
    for charge in ledger.charges:
        entries = ledger.of(charge)
        seals += [_audit_seal(path, entries, place, closed=False) for place in range(len(entries))]
        unknown += _times(path, entries)
    records = (path / "content/charges").glob("*/*/charge.yaml")
    unsealed = sorted({record.parent.name for record in records} - set(ledger.charges))
    lots = [entry for lot in ledger.lots for entry in ledger.of_lot(lot)]
    made, lot_differences, not_made = _lots_again(path, ledger, lots, again)
    unknown += not_made
    size = len(ledger.lines)
    head = Head(size=size, root=ledger.tree.root().hex()) if size else None
    return FolderAudit(
        path=str(path),
        kind="mill",
        files=0,
        entries=size,
        head=head,
        differences=(*ledger.differences, *lot_differences),
        lots=tuple(made),
        seals=tuple(seals),
        open=tuple(unknown),
        unsealed=tuple(unsealed),
    )


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


def _json(path: Path) -> dict[str, Any] | None:
    try:
        value = read_json(path.read_bytes())
    except (OSError, ValueError):
        return None  # named with the ledger: it is missing or changed
    return value if isinstance(value, dict) else None


def _rules(dossier: dict[str, Any] | None) -> dict[str, Any]:
    rules = (dossier or {}).get("rules")
    return rules if isinstance(rules, dict) else {}


# --- heads ----------------------------------------------------------------------------------------


def compare_heads(
    path: Path, folders: Sequence[FolderAudit], since: Head | None
) -> tuple[list[Difference], list[Difference]]:
    """Compare the heads of what is audited with each other, and with one somebody kept.

    Returns
    -------
    tuple of two lists
        Heads that cannot be of one ledger; and what could not be compared.
    """
    tree = _tree_of(path)
    heads = [(folder.path, folder.head) for folder in folders if folder.head]
    heads += [("the head given with --since", since)] if since else []
    differences, unknown = [], []
    known: dict[int, tuple[str, str]] = {}
    for where, head in heads:
        if tree is not None:
            root = tree.root(head.size).hex() if head.size <= len(tree) else ""
            first, here = (root, path.as_posix())
        else:
            first, here = known.setdefault(head.size, (head.root, where))
        if not first:
            differences.append(
                Difference(
                    kind="entries-dropped",
                    where=where,
                    sealed=head.root,
                    what=f"it is a head of "
                    f"{head.size} entries, and the ledger here has {len(tree or ())}: entries were "
                    "taken off its end",
                )
            )
        elif first != head.root:
            differences.append(
                Difference(
                    kind="ledgers-disagree",
                    where=where,
                    sealed=first,
                    found=head.root,
                    what=f"its head of {head.size} entries is not that of {here}; a mill has one "
                    "ledger, so one of the two was written anew",
                )
            )
    if since and tree is None and len(known) > 1:
        unknown.append(
            Difference(
                kind="not-compared",
                where="--since",
                what="heads of different sizes are compared with "
                "the mill's ledger or its auditor edition; a bag alone does not hold enough",
            )
        )
    return differences, unknown


def _tree_of(path: Path) -> Tree | None:
    """Return the tree of the ledger, where its lines or its leaves are at hand."""
    if (path / LEDGER).is_file():
        return parse_ledger((path / LEDGER).read_bytes()).tree
    for leaves in (path / LEAVES, path / BAGS / LEAVES):
        if leaves.is_file():
            return read_leaves(leaves.read_bytes())
    return None
