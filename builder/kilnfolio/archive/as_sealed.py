"""Sealed charges and lots as they were sealed, whatever has changed since.

The ledger keeps a copy of every file behind a seal. Limits, species, schedules, kilns, people and
addresses may change afterwards: a sealed record is read with the copies, never with the present
files, so no such change can affect it.
"""

from __future__ import annotations

import contextlib
from collections import ChainMap
from collections.abc import Sequence
from pathlib import Path
from typing import Any, cast

from pydantic import ValidationError

from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.entries import Entry, LotEntry, SealedFile, SealEntry
from kilnfolio.archive.places import KEPT, LEDGER, dossier_path
from kilnfolio.records.folder import MillFolder, mill_of_files
from kilnfolio.records.limits import Limits
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.review import review_charge
from kilnfolio.review.versions import rules_version
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass


def folder_as_sealed(root: Path, entry: SealEntry) -> MillFolder:
    """Return the records behind a seal, from the copies kept with the ledger.

    Parameters
    ----------
    root : Path
        The mill folder, or the ``data`` folder of a bag.
    entry : Entry or LotEntry
        The seal.

    Raises
    ------
    RecordProblems
        A copy is missing or is not the file that was sealed.
    """
    return mill_of_files(root, kept_files(root, entry))


def kept_files(root: Path, entry: SealEntry) -> dict[str, Path]:
    """Return the locations of the copies behind a seal, by path as sealed.

    In a bag the files of the last seal are at their own paths and are not kept twice.

    Raises
    ------
    RecordProblems
        A copy is missing or is not the file that was sealed.
    """
    found, problems = {}, list[Problem]()
    for file in entry.files:
        try:
            found[file.path] = _kept(root, file)
        except RecordProblems as error:
            problems.extend(error.problems)
    if problems:
        raise RecordProblems(problems)
    return found


def kept_bytes(root: Path, file: SealedFile) -> bytes:
    """Return the copy of a file that was kept with its seal.

    Raises
    ------
    RecordProblems
        It is missing or is not the file that was sealed.
    """
    return read_file(_kept(root, file))


def _kept(root: Path, file: SealedFile) -> Path:
    in_bag = not (root / LEDGER).exists()
    for name in (KEPT / file.sha256, *([Path(file.path)] if in_bag else [])):
        with contextlib.suppress(OSError):
            if sha256(read_file(root / name)) == file.sha256:
                return root / name
    raise RecordProblems(
        [
            Problem(
                Place((KEPT / file.sha256).as_posix()),
                f"the copy of {file.path}",
                "it is missing, or is not the file that was sealed",
                "Bring it back from a backup",
            )
        ]
    )


# --- what was sealed ------------------------------------------------------------------------------


def sealed_dossier(
    root: Path, entry: Entry, ordinal: int, folder: MillFolder | None = None
) -> Dossier:
    """Return the dossier that a seal signs.

    A dossier in a form that this version cannot read, or whose file is damaged, is computed again
    from the sealed files.

    Parameters
    ----------
    root : Path
        The mill folder.
    entry : Entry
        The seal.
    ordinal : int
        The number of the entry among the charge's entries, from 1.
    folder : MillFolder, optional
        The records as sealed, if they have already been read.

    Raises
    ------
    RecordProblems
        The sealed files are needed and cannot be read.
    """
    try:
        raw = read_file(root / dossier_path(entry.charge, ordinal))
        if sha256(raw) == entry.dossier:
            return Dossier.model_validate_json(raw)
    except (OSError, ValidationError):
        pass
    return review_charge(folder or folder_as_sealed(root, entry), entry.charge, None)


def as_sealed_library(folder: MillFolder, root: Path, entry: LotEntry) -> MillFolder:
    """Return a mill folder with the limits, species and mill record with which a lot was sealed.

    The lot's own record, its charges and the other lots are those of `folder`. For a lot of format
    1, which kept no files, `folder` is returned unchanged.

    Raises
    ------
    RecordProblems
        A copy kept with the seal is missing or cannot be read.
    """
    if not entry.files:
        return folder
    sealed = folder_as_sealed(root, entry)
    species = ChainMap(
        cast("dict[str, Any]", sealed.species), cast("dict[str, Any]", folder.species)
    )
    return folder.with_records(
        mill=sealed.mill, limits=sealed.limits, sources=sealed.sources, species=species
    )


# --- compared with today's limits -----------------------------------------------------------------


@dataclass(frozen=True)
class OtherOutcome:
    """A check that would give another result under today's limits."""

    check: str
    subject: str
    sealed: str
    """Outcome as sealed; empty if the check had no finding on this."""
    today: str
    """Outcome under today's limits; empty if it would have no finding on this."""
    message: str
    """Its message under today's limits."""

    @property
    def sentence(self) -> str:
        """The difference in words."""
        about = f" ({self.subject})" if self.subject else ""
        then = f"it was sealed as {self.sealed}" if self.sealed else "nothing was asked when sealed"
        now = f"would be {self.today}: {self.message}" if self.today else "would ask nothing"
        return f"By the limits in force today, {self.check}{about} {now} — {then}."


def by_todays_limits(
    folder: MillFolder, sealed: Dossier, limits: Located[Limits]
) -> tuple[OtherOutcome, ...]:
    """Return which checks of a sealed charge would give another result under today's limits.

    The charge is reviewed again only if a limit's value or scope changed; everything else stays as
    sealed.

    Parameters
    ----------
    folder : MillFolder
        The records as sealed.
    sealed : Dossier
        The sealed dossier.
    limits : Located of Limits
        Today's limits.
    """
    changed = _changed_limits(folder.limits.record, limits.record)
    checks = {slug for slug, check in CHECKS.items() if changed & set(check.limits)}
    if not checks:
        return ()
    # recompute a dossier of older rules, so that changes of rules are not taken for those of limits
    same_rules = sealed.rules.version == rules_version()
    then = _findings(sealed if same_rules else review_charge(folder, sealed.charge, None), checks)
    now = _findings(review_charge(folder.with_records(limits=limits), sealed.charge, None), checks)
    return tuple(
        _other(key, then.get(key, ()), now.get(key, ()))
        for key in dict.fromkeys([*then, *now])
        if _outcomes(then.get(key, ())) != _outcomes(now.get(key, ()))
    )


def _changed_limits(before: Limits, after: Limits) -> set[str]:
    def values(limits: Limits, key: str) -> bytes:
        return canonical(
            [
                [limit.value, limit.scope.model_dump(mode="json")]
                for limit in limits.limits.get(key, [])
            ]
        )

    return {
        key for key in {*before.limits, *after.limits} if values(before, key) != values(after, key)
    }


def _findings(dossier: Dossier, checks: set[str]) -> dict[tuple[str, str], tuple[Finding, ...]]:
    found: dict[tuple[str, str], tuple[Finding, ...]] = {}
    for finding in dossier.findings:
        if finding.check in checks:
            key = (finding.check, finding.subject)
            found[key] = (*found.get(key, ()), finding)
    return found


def _outcomes(findings: Sequence[Finding]) -> list[str]:
    return list(dict.fromkeys(finding.outcome for finding in findings))


def _other(key: tuple[str, str], then: Sequence[Finding], now: Sequence[Finding]) -> OtherOutcome:
    return OtherOutcome(
        *key,
        " and ".join(_outcomes(then)),
        " and ".join(_outcomes(now)),
        " ".join(dict.fromkeys(finding.message for finding in now)),
    )
