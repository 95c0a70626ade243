"""Compares two records number by number, and names each difference by its place.

A place is a path as in ``/boards/S1/points/3/mc_pct``: keys and, for items of a list, the name that
distinguishes them (a board's tag, a check's slug) or else their index from 0. Changes declared by a
later version of the rules are kept separate from other differences; see `review.versions`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import field
from typing import Any

from kilnfolio.archive.canonical import canonical
from kilnfolio.review.dossier import Part
from kilnfolio.review.versions import RulesChange, changes_since
from kilnfolio.runtime.values import dataclass

#: Keys that may name the items of a list: the first that all items have and that distinguishes
#: them.
_NAMES = (("id",), ("path",), ("channel",), ("name",), ("check", "subject"), ("check",))
_PACKAGE, _RULES = "/rules/kilnfolio", "/rules/version"


class Difference(Part):
    """One difference from what was sealed."""

    kind: str
    """A slug, as in 'file-changed'."""
    where: str
    """The file, the ledger's line, or the place in a record."""
    what: str
    """The sentence for a person."""
    sealed: str = ""
    """The sealed value, if there is one."""
    found: str = ""
    """The value found."""


@dataclass
class Compared:
    """The comparison of a sealed dossier with the same dossier computed again."""

    differences: list[Difference] = field(default_factory=list)
    """Differences that are not allowed."""
    moved: list[Difference] = field(default_factory=list)
    """Changes declared by later rules; neither confirmed nor refuted."""
    new: list[Difference] = field(default_factory=list)
    """Additions declared by later rules."""
    notes: list[Difference] = field(default_factory=list)
    """The version of the package, if it differs."""
    changes: tuple[RulesChange, ...] = ()
    """The versions of the rules since the seal."""


def compare(sealed: dict[str, Any], found: dict[str, Any], record: str) -> Compared:
    """Compare a sealed dossier with the same dossier computed again.

    Parameters
    ----------
    sealed, found : dict
        Plain JSON values of dossiers. Their ``inputs`` are ignored, since files are compared as
        files.
    record : str
        The sealed record's name, printed before each place.
    """
    version = version_of(sealed)
    changes = changes_since(version)
    compared = Compared(changes=tuple(changes or ()))
    if changes is None:
        compared.differences.append(
            Difference(
                kind="rules-unknown",
                where=f"{record}{_RULES}",
                sealed=str(version),
                found=str(version_of(found)),
                what=f"it is sealed under rules {version}, which this "
                "kilnfolio does not know and cannot confirm; audit it with a newer kilnfolio",
            )
        )
    for place, before, after in _walk(_without_inputs(sealed), _without_inputs(found), ""):
        if place == _RULES:
            continue
        kind, what = _sentence(place, before, after)
        difference = Difference(
            kind=kind,
            where=f"{record}{place}",
            what=what,
            sealed=_shown(before),
            found=_shown(after),
        )
        _list_for(compared, place, before).append(difference)
    return compared


def _list_for(compared: Compared, place: str, before: Any) -> list[Difference]:
    if place == _PACKAGE:
        return compared.notes
    if any(change.covers(place) for change in compared.changes):
        return compared.new if before is _ABSENT else compared.moved
    return compared.differences


def version_of(dossier: dict[str, Any]) -> object:
    """Return the version of the rules that a dossier states."""
    rules = dossier.get("rules")
    return rules.get("version") if isinstance(rules, dict) else None


def differ(moved: Sequence[Difference], new: Sequence[Difference]) -> str:
    """Return in words how many figures and findings later rules change."""
    several = "figures and findings differ"
    words = (
        f"{len(moved)} {'figure or finding differs' if len(moved) == 1 else several}"
        if moved
        else "no figure differs"
    )
    return words + (f", {len(new)} {'is' if len(new) == 1 else 'are'} new" if new else "")


def count_numbers(value: Any) -> int:
    """Return how many numbers a JSON value contains."""
    if isinstance(value, dict):
        return sum(map(count_numbers, value.values()))
    if isinstance(value, list):
        return sum(map(count_numbers, value))
    return int(isinstance(value, (int, float)) and not isinstance(value, bool))


_ABSENT = object()


def _without_inputs(dossier: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in dossier.items() if key != "inputs"}


def _walk(before: Any, after: Any, place: str) -> Iterator[tuple[str, Any, Any]]:
    if isinstance(before, list) and isinstance(after, list):
        before, after = _by_name(before, after)
    if isinstance(before, dict) and isinstance(after, dict):
        for key in dict.fromkeys([*before, *after]):
            step = str(key).replace("~", "~0").replace("/", "~1")
            yield from _walk(before.get(key, _ABSENT), after.get(key, _ABSENT), f"{place}/{step}")
    elif not _same(before, after):
        yield place, before, after


def _same(before: Any, after: Any) -> bool:
    if isinstance(before, bool) or isinstance(after, bool):
        return before is after
    return bool(before == after)


def _by_name(before: list[Any], after: list[Any]) -> tuple[dict[Any, Any], dict[Any, Any]]:
    """Return both lists as mappings, with keys that distinguish their items.

    Items with the same name are numbered in order, so that an extra one does not make all later
    items differ.
    """
    numbered = None
    for keys in _NAMES:
        names = [[_name(item, keys) for item in items] for items in (before, after)]
        if any(None in found for found in names):
            continue
        if all(len(set(found)) == len(found) for found in names):
            return dict(zip(names[0], before, strict=True)), dict(zip(names[1], after, strict=True))
        numbered = numbered or [_numbered(found) for found in names]
    if numbered:
        return (
            dict(zip(numbered[0], before, strict=True)),
            dict(zip(numbered[1], after, strict=True)),
        )
    return dict(enumerate(before)), dict(enumerate(after))


def _numbered(names: list[str | None]) -> list[str]:
    seen: Counter[str | None] = Counter()
    found = []
    for name in names:
        seen[name] += 1
        found.append(f"{name} {seen[name]}" if seen[name] > 1 else str(name))
    return found


def _name(item: Any, keys: tuple[str, ...]) -> str | None:
    if not isinstance(item, dict) or not all(isinstance(item.get(key), str) for key in keys):
        return None
    return " ".join(filter(None, (item[key] for key in keys)))


def _shown(value: Any) -> str:
    return "" if value is _ABSENT else canonical(value).decode()


def _sentence(place: str, before: Any, after: Any) -> tuple[str, str]:
    if before is _ABSENT:
        return "value-added", "computed again it is there; the sealed record does not hold it"
    if after is _ABSENT:
        return "value-missing", "the sealed record holds it; computed again it is not there"
    number = count_numbers(before) + count_numbers(after) > 0
    if place == _PACKAGE:
        return "version-differs", "sealed and computed again by different versions of kilnfolio"
    return (
        "number-differs" if number else "value-differs",
        f"sealed {_shown(before)}, computed again {_shown(after)}",
    )
