"""The manifest of an edition: the SHA-256 of every file, signed if the mill's key is available.

``sha256sum -c`` can read ``edition-sha256.txt``. ``edition-seal.json`` signs its digest together
with the state of the ledger at the time of the build. A seal vouches for the raw record and what is
computed from it; the manifest vouches for the pages people read. The audit also remakes and
compares whatever can be remade from a bag.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from pathlib import Path
from typing import Literal

from pydantic import ValidationError

from kilnfolio import __version__
from kilnfolio.archive.canonical import canonical, read_canonical, sha256
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import Head, Hex64
from kilnfolio.archive.keyring import Hex32
from kilnfolio.archive.keys import Keys, is_signed_by
from kilnfolio.review.dossier import Part
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

MANIFEST, SEAL = "edition-sha256.txt", "edition-seal.json"
#: The folder of an edition with the present records that its pages print beside sealed ones.
AS_BUILT = "as-built"
#: Those records: the mill's name and units, the publications, and how long records are kept.
BUILT_WITH = ("content/mill.yaml", "schedules/sources.yaml", "schedules/limits.yaml")
#: The record and folder of a mill's house style, which are among those files too.
HOUSE_FILES = ("content/brand.yaml", "content/brand/*", "content/theme/*")

_LINE = re.compile(r"([0-9a-f]{64})  (\S[^\r\n]*)")


class EditionSeal(Part):
    """``edition-seal.json``."""

    kind: Literal["edition"] = "edition"
    """Distinguishes its signature from any other."""
    edition: str
    """auditor or customer."""
    kilnfolio: str
    """The version that built it."""
    manifest: Hex32
    """SHA-256 of the manifest."""
    head: Head | None = None
    """The state of the ledger at the build; None if nothing is sealed."""
    public_key: Hex32
    """The key that signed it."""
    signature: Hex64
    """Ed25519 over the canonical JSON of this without the signature."""

    @property
    def signed(self) -> bytes:
        """The bytes that the signature covers."""
        return canonical(self.model_dump(mode="json", exclude={"signature"}))

    @property
    def is_valid(self) -> bool:
        """Whether the signature is valid."""
        return is_signed_by(self.public_key, self.signed, self.signature)


def manifest_of(digests: Mapping[str, str]) -> bytes:
    """Return the manifest of files by path, in the format of ``sha256sum``."""
    return "".join(f"{digests[path]}  {path}\n" for path in sorted(digests)).encode()


def sign_edition(edition: str, manifest: bytes, head: Head | None, keys: Keys) -> bytes:
    """Return ``edition-seal.json`` for a manifest."""
    seal = EditionSeal(
        edition=edition,
        kilnfolio=__version__,
        manifest=sha256(manifest),
        head=head,
        public_key=keys.public,
        signature="0" * 128,
    )
    return canonical(seal.model_copy(update={"signature": keys.sign(seal.signed)}))


@dataclass
class EditionFiles:
    """The files of an edition as found, and what is wrong with them."""

    files: dict[str, str] = field(default_factory=dict)
    """SHA-256 by path."""
    seal: EditionSeal | None = None
    """The signature of the manifest, if it can be read."""
    differences: list[Difference] = field(default_factory=list)
    """Files added, missing, swapped or changed, and an invalid signature."""
    open: list[Difference] = field(default_factory=list)
    """What nothing vouches for."""


def read_edition(root: Path, beside: Path | None = None) -> EditionFiles:
    """Read the files of an edition and compare them with its manifest.

    Parameters
    ----------
    root : Path
        The edition's folder.
    beside : Path, optional
        The manifest, if it is kept outside the edition, with its signature beside it.
    """
    manifest = beside or root / MANIFEST
    signature = manifest.with_name(manifest.name.replace("-sha256.txt", "-seal.json"))
    found = EditionFiles()
    for path in sorted(root.rglob("*")):
        name = path.relative_to(root).as_posix()
        if path.is_symlink():
            found.differences.append(
                _difference("not-a-file", name, "it leads somewhere else and is not followed")
            )
        elif path.is_file() and path not in (manifest, signature):
            found.files[name] = sha256(read_file(path))
    if not manifest.is_file():
        found.open.append(
            _difference(
                "edition-manifest-missing",
                manifest.name,
                f"nothing lists the {len(found.files)} files of this edition; files added, taken "
                "out or changed cannot be named",
            )
        )
        return found
    raw = read_file(manifest)
    found.differences += _against(raw, found.files, manifest.name)
    found.seal = _read_seal(signature)
    found.differences += _signature(found.seal, signature, raw)
    if found.seal is None and not signature.exists():
        found.open.append(
            _difference(
                "edition-not-signed",
                signature.name,
                "the manifest of this edition is not signed: anybody who changes a page can "
                "rewrite it. What was not made again is not confirmed",
            )
        )
    return found


def _against(raw: bytes, files: Mapping[str, str], manifest: str) -> Iterator[Difference]:
    listed: dict[str, str] = {}
    for row, line in enumerate(raw.decode("utf-8", "replace").splitlines(), 1):
        match = _LINE.fullmatch(line)
        if match is None or match[2] in listed:
            what = "it is not 'digest, two spaces, path', each path once"
            yield _difference("manifest-line-unreadable", f"{manifest}:{row}", what)
            continue
        listed[match[2]] = match[1]
    owner = {digest: path for path, digest in listed.items()}
    for path in sorted({*listed, *files}):
        if path not in listed:
            yield _difference("file-added", path, "the edition's manifest does not list it")
        elif path not in files:
            yield _difference("file-missing", path, "the edition's manifest lists it")
        elif files[path] != listed[path]:
            other = owner.get(files[path])
            what = f"it holds what the manifest lists as {other}" if other else "it was changed"
            yield _difference(
                "file-swapped" if other else "file-changed",
                path,
                f"it is not the file the edition's manifest lists: {what}",
                sealed=listed[path],
                found=files[path],
            )


def _read_seal(path: Path) -> EditionSeal | None:
    try:
        return EditionSeal.model_validate(read_canonical(read_file(path).strip()))
    except (OSError, ValueError, ValidationError):
        return None


def _signature(seal: EditionSeal | None, path: Path, manifest: bytes) -> Iterator[Difference]:
    if seal is None:
        if path.exists():
            yield _difference("edition-seal-unreadable", path.name, "it is no seal of an edition")
    elif not seal.is_valid:
        yield _difference("edition-seal-edited", path.name, "it does not fit its signature")
    elif seal.manifest != sha256(manifest):
        yield _difference(
            "edition-manifest-changed",
            path.name.replace("-seal.json", "-sha256.txt"),
            "it is not the manifest the mill signed",
            sealed=seal.manifest,
            found=sha256(manifest),
        )


def missing_entries(size: int, here: Sequence[int]) -> Iterator[Difference]:
    """Report entries of a ledger of this size that are in no bag of its edition."""
    lacking = sorted(set(range(1, size + 1)) - set(here))
    if lacking:
        numbers = ", ".join(map(str, lacking[:10])) + (" …" if len(lacking) > 10 else "")
        yield _difference(
            "bag-missing",
            "bags",
            f"the ledger has {size} entries, and no bag here carries {len(lacking)} of them "
            f"({numbers}): bags were left out",
        )


def _difference(kind: str, where: str, what: str, **values: str) -> Difference:
    return Difference(kind=kind, where=where, what=what, **values)
