"""Bags: one BagIt bag per charge with everything an auditor needs, verifiable by any BagIt tool.

``data/`` is a mill folder reduced to one charge: its record, the logger's own files and every other
file behind the seal, at the same paths as at the mill, with the charge's entries of the ledger and
the proof that the ledger contains them. The same seal gives the same bytes: dates come from the
record, not the clock.

References
----------
.. [1] RFC 8493, The BagIt File Packaging Format (V1.0), 2018.
"""

from __future__ import annotations

import hashlib
import re
import tempfile
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import field
from pathlib import Path

from kilnfolio import __version__
from kilnfolio.archive.as_sealed import kept_bytes, sealed_dossier
from kilnfolio.archive.bag_readme import explanation
from kilnfolio.archive.by_hand import WIDTH
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.crate import CRATE, crate
from kilnfolio.archive.descriptor import data_package
from kilnfolio.archive.entries import Entry
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.places import KEPT, dossier_path
from kilnfolio.archive.proofs import BagLedger, bag_ledger, lot_records
from kilnfolio.archive.recompute import temporary_mill
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier
from kilnfolio.runtime.files import read_file, sync_folder, sync_tree
from kilnfolio.runtime.values import dataclass

DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
ALGORITHMS = ("sha256", "sha512")

#: Files below ``data/`` that describe the others: what their tables hold, and what they are.
TABLES = "datapackage.json"
DESCRIPTIONS = (TABLES, CRATE)

#: The folder of an edition that holds its bags, and the file in it that explains them.
BAGS, ABOUT = "bags", "ABOUT.txt"

_LINE = re.compile(r"([0-9a-f]+)  (\S[^\r]*)")


class NotSealedError(Exception):
    """The charge is not sealed, so there is no bag of it."""


def write_bag(
    root: Path, charge: str, out: Path, *, notice: str, extra: Mapping[str, bytes] | None = None
) -> Path:
    """Write the bag of a sealed charge.

    Parameters
    ----------
    root : Path
        The mill folder.
    charge : str
        The charge.
    out : Path
        The folder for bags; the bag is ``out/CHARGE`` and appears there complete.
    notice : str
        The safety wording, printed in the bag's README.
    extra : mapping of str to bytes, optional
        Further payload by path below ``data/``, such as the PDF record.

    Returns
    -------
    Path
        The bag.

    Raises
    ------
    NotSealedError
        The charge is not sealed, or a sealed file is missing.
    """
    files = bag_files(root, charge, notice=notice, extra=extra)
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".new-", dir=out) as name:
        new = Path(name) / charge
        for path, data in files.items():
            (new / path).parent.mkdir(parents=True, exist_ok=True)
            (new / path).write_bytes(data)
        sync_tree(new)
        if (out / charge).exists():
            (out / charge).rename(Path(name) / "old")
        new.rename(out / charge)
    sync_folder(out)
    return out / charge


def about_bags(charges: Sequence[str], notice: str) -> str:
    """Return the text that accompanies the bags of an edition."""
    what = (
        "One BagIt bag (RFC 8493) for each sealed charge; README.txt in each says what it "
        "holds and how to check it:"
        if charges
        else "No charge of this mill is sealed yet, so there is no bag here."
    )
    lines = [
        *textwrap.wrap(what, WIDTH),
        *(f"  {charge}" for charge in charges),
        "",
        *textwrap.wrap(notice, WIDTH),
    ]
    return "\n".join(lines) + "\n"


def bag_files(
    root: Path,
    charge: str,
    *,
    notice: str,
    extra: Mapping[str, bytes] | None = None,
    part: BagLedger | None = None,
) -> dict[str, bytes]:
    """Return the files of a bag by path; see `write_bag`.

    Parameters
    ----------
    root, charge, notice, extra
        See `write_bag`.
    part : BagLedger, optional
        Its part of the ledger, if already known.
    """
    part = part or bag_ledger(read_ledger(root), charge)
    entries = part.entries
    if not entries:
        raise NotSealedError(
            f"{charge} is not sealed; a bag is made of a sealed charge: kilnfolio "
            f"seal {charge} --by NAME"
        )
    payload = _records(root, entries)
    inputs = {file.path: payload[file.path] for file in entries[-1].files}
    payload.update(_ledger_files(root, part))
    sealed = read_file(root / dossier_path(charge, len(entries)))
    payload["dossier.json"] = sealed
    payload.update(extra or {})
    with temporary_mill(inputs) as folder:
        dossier = sealed_dossier(root, entries[-1], len(entries))
        derived = derived_files(folder, dossier, part, inputs, payload, notice)
    for name in DESCRIPTIONS:
        payload[name] = derived.pop(f"data/{name}")
    return pack(payload, derived)


def derived_files(
    folder: MillFolder,
    dossier: Dossier,
    part: BagLedger,
    inputs: Mapping[str, bytes],
    payload: Mapping[str, bytes],
    notice: str,
) -> dict[str, bytes]:
    """Return the files of a bag that are derived from the sealed ones, by path.

    Parameters
    ----------
    folder : MillFolder
        The records as sealed.
    dossier : Dossier
        The sealed dossier.
    part : BagLedger
        The bag's part of the ledger.
    inputs : mapping of str to bytes
        The files of the last seal.
    payload : mapping of str to bytes
        Everything below ``data/`` except `DESCRIPTIONS`, which are made here.
    notice : str
        The safety wording.
    """
    tables = canonical(data_package(folder, dossier.charge, inputs, part.entries[-1]))
    described = {**payload, TABLES: tables}
    about = canonical(crate(folder, dossier, part.entries[-1], described))
    info = _information(folder, part.entries, {**described, CRATE: about})
    return {
        f"data/{TABLES}": tables,
        f"data/{CRATE}": about,
        "bag-info.txt": info,
        "README.txt": explanation(folder, dossier, part, notice).encode(),
    }


def _records(root: Path, entries: tuple[Entry, ...]) -> dict[str, bytes]:
    """Return the sealed files: those of the last entry at their paths, older ones as copies."""
    payload = {}
    for entry in entries:
        for file in entry.files:
            data = read_file(root / KEPT / file.sha256)
            if sha256(data) != file.sha256:
                raise NotSealedError(
                    f"{KEPT / file.sha256} is not the copy of {file.path} that "
                    "was sealed; bring it back from a copy"
                )
            payload[(KEPT / file.sha256).as_posix()] = data
    for file in entries[-1].files:
        payload[file.path] = payload[(KEPT / file.sha256).as_posix()]
    for file in entries[-1].files:
        payload.pop((KEPT / file.sha256).as_posix(), None)
    return payload


def _ledger_files(root: Path, part: BagLedger) -> dict[str, bytes]:
    """Return the bag's part of the ledger, what its entries seal, and the public keys."""
    found = {**part.files, KEYRING.as_posix(): read_file(root / KEYRING)}
    for ordinal, entry in enumerate(part.entries, 1):
        path = dossier_path(entry.charge, ordinal)
        found[path.as_posix()] = read_file(root / path)
    for path, lot in lot_records(part.lots):
        found[path.as_posix()] = read_file(root / path)
        for file in lot.files:
            if not lot.is_own(file.path):  # it names customer and order, so it stays
                found[(KEPT / file.sha256).as_posix()] = kept_bytes(root, file)
    return found


def _information(
    folder: MillFolder, entries: tuple[Entry, ...], payload: Mapping[str, bytes]
) -> bytes:
    mill, last = folder.mill.record, entries[-1]
    lines = {
        "Source-Organization": mill.name,
        "Contact-Name": mill.contact.name,
        "Contact-Email": mill.contact.email,
        "External-Description": f"{'Invented d' if mill.invented else 'D'}rying record of charge "
        f"{last.charge}, with every file its figures are computed from",
        "External-Identifier": last.charge,
        "Bagging-Date": last.at.date().isoformat(),
        "Payload-Oxum": f"{sum(map(len, payload.values()))}.{len(payload)}",
        "Internal-Sender-Identifier": f"{last.charge} entry {last.number} seal {last.dossier}",
        "Bag-Software-Agent": f"kilnfolio {__version__}",
    }
    return "".join(
        f"{label}: {' '.join(value.split())}\n" for label, value in lines.items()
    ).encode()


# --- the format -----------------------------------------------------------------------------------


def pack(payload: Mapping[str, bytes], tags: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the files of a bag with this payload (below ``data/``) and these tag files."""
    data = {f"data/{path}": payload[path] for path in sorted(payload)}
    around = {"bagit.txt": DECLARATION, **tags}
    around |= {f"manifest-{name}.txt": _manifest(data, name) for name in ALGORITHMS}
    return (
        data | around | {f"tagmanifest-{name}.txt": _manifest(around, name) for name in ALGORITHMS}
    )


def _manifest(files: Mapping[str, bytes], algorithm: str) -> bytes:
    lines = [
        f"{hashlib.new(algorithm, files[path]).hexdigest()}  {_encoded(path)}\n"
        for path in sorted(files)
    ]
    return "".join(lines).encode("utf-8", "surrogateescape")


def _encoded(path: str) -> str:
    """Return a path as a manifest writes it (RFC 8493, 2.1.3)."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def read_bag(path: Path) -> tuple[dict[str, bytes], list[Difference]]:
    """Return the files of a bag, and report anything that is neither a file nor a folder."""
    files, differences = {}, []
    for found in sorted(path.rglob("*")):
        name = found.relative_to(path).as_posix()
        if found.is_symlink() or not (found.is_dir() or found.is_file()):
            differences.append(
                Difference(
                    kind="not-a-file",
                    where=name,
                    what="it leads somewhere else and is not followed; a bag holds plain files",
                )
            )
        elif found.is_file():
            files[name] = read_file(found)
    return files, differences


@dataclass
class _Listed:
    """What the manifests of one kind say about one file."""

    right: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)


def verify_files(files: Mapping[str, bytes]) -> list[Difference]:
    """Check a bag's files against its manifests; report every file that is not as listed.

    Parameters
    ----------
    files : mapping of str to bytes
        Every file of the bag by path.
    """
    differences = []
    if files.get("bagit.txt") != DECLARATION:
        differences.append(
            Difference(
                kind="declaration-differs",
                where="bagit.txt",
                what="it does not declare a BagIt 1.0 bag in UTF-8",
            )
        )
    data = {path for path in files if path.startswith("data/")}
    tags = {path for path in files if path not in data and not path.startswith("tagmanifest-")}
    for kind, covered in (("manifest", data), ("tagmanifest", tags)):
        listed: dict[str, _Listed] = {path: _Listed() for path in covered}
        for algorithm in ALGORITHMS:
            differences += _against(files, covered, f"{kind}-{algorithm}.txt", algorithm, listed)
        differences += [
            _verdict(path, says, path in files)
            for path, says in listed.items()
            if says.wrong or says.silent or not says.right
        ]
    known = {f"tagmanifest-{algorithm}.txt" for algorithm in ALGORITHMS}
    differences += [
        Difference(kind="file-added", where=path, what="no manifest lists it")
        for path in files
        if path.startswith("tagmanifest-") and path not in known
    ]
    return differences


def _against(
    files: Mapping[str, bytes],
    covered: set[str],
    manifest: str,
    algorithm: str,
    listed: dict[str, _Listed],
) -> list[Difference]:
    """Check one manifest line by line, and record in `listed` what it says about each file."""
    if manifest not in files:
        return [Difference(kind="manifest-missing", where=manifest, what="it is not there")]
    text = files[manifest].decode("utf-8", "surrogateescape")
    expected = {_encoded(path): path for path in covered}
    differences, names = [], []
    for row, line in enumerate(text.removesuffix("\n").split("\n"), 1):
        match = _LINE.fullmatch(line)
        if match is None:
            differences.append(
                Difference(
                    kind="manifest-line-unreadable",
                    where=f"{manifest}:{row}",
                    what="it is not 'digest, two spaces, path'",
                )
            )
            continue
        names.append(match[2])
        path = expected.get(match[2], match[2])
        says = listed.setdefault(path, _Listed())
        here = path in covered and hashlib.new(algorithm, files[path]).hexdigest() == match[1]
        (says.right if here else says.wrong).append(manifest)
    for path in covered:
        if _encoded(path) not in names:
            listed[path].silent.append(manifest)
    if not text.endswith("\n") or names != sorted(set(names)):
        differences.append(
            Difference(
                kind="manifest-out-of-order",
                where=manifest,
                what="its lines are not in order, each once, each ended",
            )
        )
    return differences


def _verdict(path: str, says: _Listed, there: bool) -> Difference:
    by = " and ".join(dict.fromkeys([*says.wrong, *says.silent]))
    if not there:
        return Difference(kind="file-missing", where=path, what=f"{by} lists it; it is not there")
    if says.right:
        return Difference(
            kind="manifest-disagrees",
            where=path,
            what=f"it is as {' and '.join(says.right)} says, not as {by} says",
        )
    if says.wrong:
        return Difference(kind="file-changed", where=path, what=f"it is not the file {by} lists")
    return Difference(kind="file-added", where=path, what="no manifest lists it")
