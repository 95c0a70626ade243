"""Two records compared number by number, each difference named by its place.

A place is a path as in ``/boards/S1/points/3/mc_pct``: keys, and for the items of a list the name
that tells them apart (a board's tag, a check's slug) or else their position from 0.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kilnfolio.archive.canonical import canonical
from kilnfolio.review.dossier import Part

#: Keys that name the items of a list, the first that tells all of them apart.
_NAMES = (("id",), ("path",), ("channel",), ("name",), ("check", "subject"), ("check",))
#: Places that hold words about numbers found elsewhere in the record.
_WORDS = ("/message", "/correction_words")
_VERSION = "/rules/kilnfolio"


class Difference(Part):
    """One thing that is not as sealed."""

    kind: str
    """Plain slug, as in 'file-changed'."""
    where: str
    """The file, the ledger's line, or the place in a record."""
    what: str
    """The sentence a person reads."""
    sealed: str = ""
    """The value sealed, where there is one."""
    found: str = ""
    """The value found."""


def compare(sealed: dict[str, Any], found: dict[str, Any], record: str
            ) -> tuple[list[Difference], list[Difference]]:
    """Compare a sealed dossier with the same dossier computed again.

    Parameters
    ----------
    sealed, found : dict
        Plain JSON values of dossiers. Their ``inputs`` are left out: files are compared as files.
    record : str
        The sealed record's name, printed before each place.

    Returns
    -------
    differences : list of Difference
        What is not the same.
    notes : list of Difference
        What another version of kilnfolio words otherwise, or checks in addition; its numbers and
        outcomes are never put here.
    """
    other_version = sealed.get("rules", {}).get("kilnfolio") != \
        found.get("rules", {}).get("kilnfolio")
    differences: list[Difference] = []
    notes: list[Difference] = []
    for place, before, after in _walk(_without_inputs(sealed), _without_inputs(found), ""):
        excused = other_version and _is_wording(place, before)
        kind, what = _sentence(place, before, after)
        difference = Difference(kind=kind, where=f"{record}{place}", what=what,
                                sealed=_shown(before), found=_shown(after))
        (notes if excused else differences).append(difference)
    return differences, notes


def count_numbers(value: Any) -> int:
    """Return how many numbers a JSON value holds."""
    if isinstance(value, dict):
        return sum(map(count_numbers, value.values()))
    if isinstance(value, list):
        return sum(map(count_numbers, value))
    return int(isinstance(value, (int, float)) and not isinstance(value, bool))


_ABSENT = object()


def _without_inputs(dossier: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in dossier.items() if key != "inputs"}


def _is_wording(place: str, before: Any) -> bool:
    if place == _VERSION or place.startswith("/workings/") or place.endswith(_WORDS):
        return True
    return before is _ABSENT and place.startswith("/findings/")


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
    """Return both lists as mappings from what tells their items apart."""
    for keys in _NAMES:
        names = [[_name(item, keys) for item in items] for items in (before, after)]
        if all(None not in found and len(set(found)) == len(found) for found in names):
            return dict(zip(names[0], before, strict=True)), dict(zip(names[1], after, strict=True))
    return dict(enumerate(before)), dict(enumerate(after))


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
    if place == _VERSION:
        return "version-differs", "sealed and computed again by different versions of kilnfolio"
    return ("number-differs" if number else "value-differs",
            f"sealed {_shown(before)}, computed again {_shown(after)}")
