"""Tries a limit before it is changed: finds every past result that would differ.

Both sides are full reviews of every complete charge, lot and schedule by the present checks, one
with the present limits and one with the proposed; each log is read once. Seals are ignored: a
sealed record keeps the limits it was sealed with.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from kilnfolio.records.checking import checked_mill, refuse
from kilnfolio.records.cross_checks import problems_of
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.limits import Limit, Limits
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.setpoints import mill_pressure
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.limit_values import Flip, flips_between
from kilnfolio.review.own_code import own_code
from kilnfolio.review.review import (
    build_case,
    dossier_of,
    read_logs,
    review_lot,
)
from kilnfolio.review.schedule_case import lint_schedule
from kilnfolio.runtime.nearest import nearest
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class LimitTrial:
    """The result of trying other limits.

    Attributes
    ----------
    flips : tuple of Flip
        Every check that would give another result, by record, in the order of the review.
    charges, lots, schedules : int
        Number of complete charges, lots and schedules that were reviewed.
    """

    flips: tuple[Flip, ...]
    charges: int
    lots: int
    schedules: int


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
        near = nearest(key, limits.limits, cutoff=0.5)
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
    mill = checked_mill(root)
    return trial_of(mill, validate(parse_yaml(proposed, mill.limits.file), Limits))


def trial_of(mill: MillFolder, limits: Located[Limits]) -> LimitTrial:
    """Return what would change if a mill, whose records are checked, had these limits.

    Raises
    ------
    RecordProblems
        The limits do not fit the other records, or a log cannot be read.
    """
    refuse(problems_of(mill, limits))
    try:
        before, after = findings_under(mill, (mill.limits, limits))
    except ValueError as error:
        why = f"no formula takes these limits together: {error}"
        instead = "Try a value between the limits that belong to this one"
        raise RecordProblems([Problem(Place(limits.file), "limits", why, instead)]) from None
    return LimitTrial(
        tuple(
            flip
            for record, findings in before.items()
            for flip in flips_between(record, findings, after[record])
        ),
        len(mill.charges),
        len(mill.lots),
        len(mill.schedules),
    )


def findings_under(
    mill: MillFolder, books: Sequence[Located[Limits]]
) -> list[dict[str, tuple[Finding, ...]]]:
    """Return the findings on every record under each of several sets of limits.

    Each log is read once.

    Raises
    ------
    RecordProblems
        Every problem of every log, schedule and limit.
    """
    sides = [mill.with_records(limits=limits) for limits in books]
    own, problems = own_code(mill.graph), list[Problem]()
    dossiers: list[dict[str, Dossier]] = [{} for _ in sides]
    for number in mill.charges:
        try:
            located = mill.located_charge(number)
            assert isinstance(located, Located)  # it is complete
            log = read_logs(mill, located)
            for side, found in zip(sides, dossiers, strict=True):
                found[number] = dossier_of(side, build_case(side, located, log, own))
        except RecordProblems as error:
            problems += [one for one in error.problems if one not in problems]
    refuse(problems)
    return [_findings(side, found) for side, found in zip(sides, dossiers, strict=True)]


def _findings(side: MillFolder, dossiers: Mapping[str, Dossier]) -> dict[str, tuple[Finding, ...]]:
    named = {number: dossier.findings for number, dossier in dossiers.items()}
    named |= {f"lot {lot}": review_lot(side, lot, dossiers).findings for lot in side.lots}
    pressure = mill_pressure(side)
    return named | {
        f"schedule {name}": lint_schedule(side, name, pressure) for name in side.schedules
    }
