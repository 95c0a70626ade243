"""Remakes what a bag and its edition hold beside the sealed files, and compares it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from kilnfolio import __version__
from kilnfolio.archive.as_sealed import kept_bytes
from kilnfolio.archive.audited import LotAudit
from kilnfolio.archive.bag import DESCRIPTIONS, derived_files
from kilnfolio.archive.canonical import canonical, json_object, read_json, sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import Entry, LotEntry
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.ledger import Ledger
from kilnfolio.archive.places import KEPT, dossier_path
from kilnfolio.archive.proofs import ENTRIES, PROOF, BagLedger, Proof, lot_records
from kilnfolio.archive.recompute import gather, temporary_mill
from kilnfolio.archive.sealed_mill import demo_keys
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.versions import rules_version
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

#: Remakes the record of a lot: takes the library, the charges and the lot as sealed, its number,
#: what the record says it was made from, and the sealed dossiers.
LotAgain = Callable[[MillFolder, str, Mapping[str, Any], Mapping[str, Dossier]], bytes]
#: Remakes files of a bag: takes the records as sealed, the sealed dossier's bytes, the charge's
#: entries and the demonstration's keys; returns files by path below ``data/``.
MadeAgain = Callable[[MillFolder, bytes, tuple[Entry, ...], frozenset[str]], Mapping[str, bytes]]
#: Remakes the pages and series of a charge in the auditor edition: takes the edition's folder, the
#: ``data`` folder of the charge's bag, the sealed dossier's bytes, the charge's entries and the
#: demonstration's keys; returns files by path in the edition.
PagesAgain = Callable[[Path, Path, bytes, tuple[Entry, ...], frozenset[str]], Mapping[str, bytes]]
#: These enclose content of a page that does not come from its bag; it is left out when the two are
#: compared.
BEYOND, WITHIN = b"<!-- beyond the bag -->", b"<!-- within the bag -->"


@dataclass(frozen=True)
class Remakers:
    """Functions with which higher rooms remake files for the audit."""

    notice: str = ""
    """The safety wording, which is printed in files made for a bag."""
    record: MadeAgain | None = None
    """Remakes what a bag holds beside the sealed files, such as its record in PDF."""
    lot: LotAgain | None = None
    """Remakes the record of a lot."""
    pages: PagesAgain | None = None
    """Remakes the pages and series of a charge."""
    package: Callable[[], Mapping[str, bytes]] | None = None
    """Returns the files of an edition that are copied from this package, by path."""
    run_own: bool = False
    """Whether to run the mill's own checks, which are code of its own."""


def sealed_paths(ledger: Ledger, entries: tuple[Entry, ...]) -> set[str]:
    """Return the payload that seals vouch for, or that belongs to the ledger."""
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


def compare_remade_bag(
    root: Path,
    files: Mapping[str, bytes],
    ledger: Ledger,
    proof: Proof | None,
    entries: tuple[Entry, ...],
    beside: Mapping[str, bytes],
    again: Remakers,
) -> tuple[list[Difference], list[Difference]]:
    """Compare what a bag holds beside the sealed files with the same files remade."""
    last = entries[-1]
    sealed = files.get("data/dossier.json", b"")
    inputs = gather(root, last, is_last=False, closed=True).files
    try:
        dossier = Dossier.model_validate_json(sealed)
        lots = tuple(entry for entry in ledger.entries if isinstance(entry, LotEntry))
        part = BagLedger(tuple(line.raw for line in ledger.lines), entries, lots, proof)
        payload = {
            path.removeprefix("data/"): data
            for path, data in files.items()
            if path.startswith("data/") and path.removeprefix("data/") not in DESCRIPTIONS
        }
        with temporary_mill(inputs) as folder:
            made = derived_files(folder, dossier, part, inputs, payload, again.notice)
            if not again.notice:  # the safety wording that it prints is not known here
                del made["README.txt"]
            if again.record:
                made |= {
                    f"data/{path}": data
                    for path, data in again.record(folder, sealed, entries, demo_keys(root)).items()
                }
    except Exception:  # files somebody altered: what is wrong with them is named elsewhere
        made = {}
    differences, unknown = [], []
    ours = _is_ours(files)
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


def compare_remade_pages(
    edition: Path,
    root: Path,
    files: Mapping[str, bytes],
    entries: tuple[Entry, ...],
    again: Remakers,
) -> tuple[list[Difference], list[Difference], tuple[str, ...]]:
    """Compare the pages, series and record of a charge with the same files remade from its bag.

    Returns
    -------
    tuple
        What differs, what could not be remade, and the files that are the same.
    """
    differences, unknown, same = [], [], []
    charge = entries[-1].charge
    ours = _is_ours(files)
    made: dict[str, bytes] = {}
    if record := files.get("data/record.pdf"):
        made[f"records/{charge}.pdf"] = record
    if again.pages and ours:
        sealed = files.get("data/dossier.json", b"")
        try:
            made |= again.pages(edition, root, sealed, entries, demo_keys(root))
        except Exception:  # files somebody altered: what is wrong with them is named elsewhere
            where = f"charges/{charge}.html"
            unknown.append(_not_made(where, "its bag holds too little to make it again"))
    elif again.pages:
        where = f"charges/{charge}.html"
        unknown.append(_not_made(where, "another version of kilnfolio made it"))
    for path, data in made.items():
        lies = edition / path
        found = read_file(lies) if lies.is_file() and not lies.is_symlink() else None
        if found is None:
            if path != f"records/{charge}.pdf":
                what = "its bag has it, and it is not there"
                differences.append(Difference(kind="file-missing", where=path, what=what))
        elif (shown := _without_beyond(found)) == (again_shown := _without_beyond(data)):
            same.append(path)
        else:
            differences.append(
                Difference(
                    kind="file-differs",
                    where=path,
                    sealed=sha256(data),
                    found=sha256(found),
                    what="made again from its bag, it is another file"
                    + _first_line(shown, again_shown),
                )
            )
    return differences, unknown, tuple(same)


def _not_made(where: str, why: str) -> Difference:
    return Difference(
        kind="not-made-again", where=where, what=f"it was not made again from its bag: {why}"
    )


_BEYOND = re.compile(re.escape(BEYOND) + b".*?" + re.escape(WITHIN), re.DOTALL)


def _without_beyond(page: bytes) -> bytes:
    return _BEYOND.sub(BEYOND, page)


def _first_line(found: bytes, made: bytes) -> str:
    """Return in words where two texts first differ; empty if they are not texts."""
    try:
        lines, wanted = (text.decode().splitlines() for text in (found, made))
    except UnicodeDecodeError:
        return ""
    for row, (line, want) in enumerate(zip(lines, wanted, strict=False), 1):
        if line != want:
            at = next(
                (n for n, (a, b) in enumerate(zip(line, want, strict=False)) if a != b),
                min(len(line), len(want)),
            )
            here, there = (text[max(0, at - 20) : at + 40] for text in (line, want))
            return f"; from line {row}: '{here}', made again '{there}'"
    return f"; it has {len(lines)} lines, made again {len(wanted)}"


def _is_ours(files: Mapping[str, bytes]) -> bool:
    """Return whether this version of kilnfolio made a bag."""
    agent = f"Bag-Software-Agent: kilnfolio {__version__}\n".encode()
    return agent in files.get("bag-info.txt", b"")


def compare_remade_lots(
    root: Path, ledger: Ledger, lots: Sequence[LotEntry], again: Remakers
) -> tuple[list[LotAudit], list[Difference], list[Difference]]:
    """Remake the sealed records of lots, and compare them."""
    audits, differences, unknown = [], [], []
    for path, entry in lot_records(lots):
        where = path.as_posix()
        sealed = json_object(root / path)
        reason = ""
        if again.lot is None or sealed is None or not entry.files or not sealed.get("asked"):
            reason = "it holds too little to be made again: an older kilnfolio sealed it"
        elif lacking := [one.charge for one in entry.charges if not ledger.of_charge(one.charge)]:
            reason = f"it also rests on {len(lacking)} charges that are not here"
        elif sealed.get("kilnfolio") != __version__ or sealed.get("rules") != rules_version():
            reason = (
                f"kilnfolio {sealed.get('kilnfolio')}, rules {sealed.get('rules')}, worded "
                "it; audit it with that version too"
            )
        if reason:
            unknown.append(Difference(kind="lot-not-made-again", where=where, what=reason))
            continue
        found = _compare_remade_lot(root, ledger, entry, sealed or {}, again)
        same = not found
        audits.append(LotAudit(lot=entry.lot, entry=entry.number, same=same))
        differences += [one.model_copy(update={"where": f"{where}{one.where}"}) for one in found]
    return audits, differences, unknown


def _compare_remade_lot(
    root: Path, ledger: Ledger, entry: LotEntry, sealed: dict[str, Any], again: Remakers
) -> list[Difference]:
    try:
        files, dossiers = _for_lot(root, ledger, entry, sealed["asked"])
        assert again.lot is not None
        with temporary_mill(files) as folder:
            made = read_json(again.lot(folder, entry.lot, sealed["asked"], dossiers))
    except Exception as error:  # an error about a possibly altered file is a finding
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
    """Return the files behind a lot's seal without internal ones, and the dossiers."""
    files: dict[str, bytes] = {}
    dossiers = {}
    for drawn in entry.charges:
        entries = ledger.of_charge(drawn.charge)
        place = next(n for n, one in enumerate(entries, 1) if one.dossier == drawn.dossier)
        files |= gather(root, entries[place - 1], is_last=False, closed=True).files
        raw = read_file(root / dossier_path(drawn.charge, place))
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
    # JSON is a subset of YAML
    files[f"content/lots/{entry.lot}.yaml"] = canonical({"format": 1, **asked, "packs": packs})
    return files, dossiers
