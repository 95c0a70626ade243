"""Tries a limit before it is changed: finds every past result that would differ.

Both sides are full reviews of every complete charge and lot by the present checks, one with the
present limits and one with the proposed. Seals are ignored: a sealed record keeps the limits it was
sealed with.
"""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from kilnfolio.records.folder import MillFolder, open_mill
from kilnfolio.records.limits import Limit, Limits
from kilnfolio.review.dossier import Finding
from kilnfolio.review.reviews import dossiers, lot_dossiers, review_all

#: Counts of each outcome, by record and check.
Outcomes = Mapping[tuple[str, str], Counter[str]]


@dataclass(frozen=True)
class Flip:
    """A check that would give another result for a charge or lot."""

    record: str
    """The charge's number; ``lot L1`` for a lot."""
    check: str
    """Slug of the check."""
    before: Counter[str]
    """Counts of outcomes under today's limits."""
    after: Counter[str]
    """Counts of outcomes under the proposed limits."""


@dataclass(frozen=True)
class LimitTrial:
    """The result of trying other limits.

    Attributes
    ----------
    flips : tuple of Flip
        Every check that would give another result, by record, in the order of the review.
    charges, lots : int
        Number of complete charges and lots that were reviewed.
    """

    flips: tuple[Flip, ...]
    charges: int
    lots: int


def choose(limits: Limits, key: str, entry: int | None) -> tuple[int, Limit]:
    """Return the index of a limit's entry, and the entry.

    Parameters
    ----------
    limits : Limits
        The mill's limits.
    key : str
        The limit's key.
    entry : int, optional
        Which of its entries, from 1; needed only if there are several.

    Raises
    ------
    ValueError
        There is no such limit or entry, or there are several and none was chosen.
    """
    entries = limits.limits.get(key)
    if entries is None:
        near = difflib.get_close_matches(key, list(limits.limits), n=1, cutoff=0.5)
        raise ValueError(
            f"there is no limit '{key}'" + (f"; did you mean '{near[0]}'?" if near else "")
        )
    if entry is None and len(entries) > 1:
        listed = "; ".join(
            f"{key}:{place} is {one.value:g} {one.unit}: {one.meaning}"
            for place, one in enumerate(entries, 1)
        )
        raise ValueError(f"'{key}' has {len(entries)} entries. Name one: {listed}")
    place = entry or 1
    if not 1 <= place <= len(entries):
        raise ValueError(f"'{key}' has no entry {place}; it has {len(entries)}")
    return place - 1, entries[place - 1]


def try_limits(root: Path, proposed: bytes) -> LimitTrial:
    """Return what would change if a mill's limits file held these bytes.

    Parameters
    ----------
    root : Path
        The mill folder.
    proposed : bytes
        The proposed content of ``schedules/limits.yaml``.

    Raises
    ------
    RecordProblems
        A record or the proposed limits cannot be read.
    """
    mill = open_mill(root)
    before = _outcomes(mill)
    after = _outcomes(open_mill(root, proposed={mill.limits.file: proposed}))
    return LimitTrial(
        tuple(
            Flip(record, check, before.get((record, check), Counter()), found)
            for record, check in dict.fromkeys([*before, *after])
            for found in [after.get((record, check), Counter())]
            if found != before.get((record, check))
        ),
        len(mill.charges),
        len(mill.lots),
    )


def _outcomes(mill: MillFolder) -> Outcomes:
    review_all(mill)
    named: dict[str, tuple[Finding, ...]] = {
        number: dossier.findings for number, dossier in dossiers(mill).items()
    }
    named |= {f"lot {number}": dossier.findings for number, dossier in lot_dossiers(mill).items()}
    found: dict[tuple[str, str], Counter[str]] = {}
    for record, findings in named.items():
        for finding in findings:
            found.setdefault((record, finding.check), Counter())[finding.word] += 1
    return found
