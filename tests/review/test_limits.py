"""The limit used: the narrowest scope that fits species, kind, thickness, target and region."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from tests.minimal import FILES, minimal_mill
from tests.review.inline import make_folder

from kilnfolio.records.checking import propose
from kilnfolio.records.folder import open_mill
from kilnfolio.records.limits import Limits
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.limits import LimitTable, NoLimit, Subject, limit_table
from kilnfolio.review.reviews import review_all

OAK = Subject(("quercus-rubra",), "hardwood", 25.4, 8.0)


def book(*scopes: dict[str, Any], mill_in: tuple[str, ...] = ()) -> LimitTable:
    """Return a limit table of one key, its limits numbered in the order of their scopes."""
    entries = [
        {
            "value": number,
            "unit": "K",
            "meaning": "a trial",
            "source": "trial",
            "scope": scope,
            "status": "mill",
        }
        for number, scope in enumerate(scopes)
    ]
    return LimitTable(
        Limits.model_validate({"format": 1, "revision": 1, "limits": {"trial": entries}}),
        mill_in=mill_in,
    )


@pytest.mark.parametrize(
    ("scope", "subject", "fits"),
    [
        ({"species": ["quercus-rubra"]}, OAK, True),
        ({"species": ["acer-saccharum"]}, OAK, False),
        ({"species": ["quercus-rubra"]}, Subject(), False),
        ({"kind": "hardwood"}, OAK, True),
        ({"kind": "softwood"}, OAK, False),
        ({"thicker_than": "25 mm"}, OAK, True),
        ({"thicker_than": "25.4 mm"}, OAK, False),
        ({"thicker_than": "25 mm"}, Subject(), False),
        ({"target_mc": 8}, OAK, True),
        ({"target_mc": 12}, OAK, False),
    ],
)
def test_scope_of_species_kind_thickness_and_target(
    scope: dict[str, Any], subject: Subject, fits: bool
) -> None:
    assert book({}, scope).value("trial", subject) == (1 if fits else 0)


@pytest.mark.parametrize(
    ("region", "fits"),
    [("Canada", True), ("ontario", True), ("Ontario", True), ("Sweden", False), ("Can", False)],
)
def test_a_region_scope_matches_where_the_mill_is(region: str, fits: bool) -> None:
    here = ("Canada", "Heron Bend, eastern Ontario (invented)")
    assert book({}, {"region": region}, mill_in=here).value("trial", OAK) == (1 if fits else 0)
    assert book({}, {"region": region}).value("trial", OAK) == 0


def test_the_narrowest_matching_scope_is_used() -> None:
    limits = book({}, {"kind": "hardwood"}, {"kind": "hardwood", "thicker_than": "20 mm"})
    assert limits.value("trial", OAK) == 2
    assert limits.value("trial", Subject(kind="hardwood")) == 1
    assert limits.value("trial") == 0


def test_a_limit_whose_scope_does_not_match_is_not_used() -> None:
    with pytest.raises(NoLimit, match="'trial'"):
        book({"kind": "softwood"}).value("trial", OAK)
    with pytest.raises(NoLimit, match="'other'"):
        book({}).value("other")


def test_a_charge_is_reviewed_by_the_limits_of_its_own_region() -> None:
    folder = make_folder()
    country, limits = folder.mill.record.country, folder.limits.record
    own = limits.limits["spike-kelvin"][0]
    for region, expected in ((country, 99.0), ("Elsewhere", own.value)):
        there = own.model_copy(
            update={"value": 99.0, "scope": own.scope.model_copy(update={"region": region})}
        )
        entries = {**limits.limits, "spike-kelvin": [own, there]}
        edited = Limits(format=1, revision=2, limits=entries)
        here = folder.with_records(limits=dataclasses.replace(folder.limits, record=edited))
        assert limit_table(here, OAK).value("spike-kelvin") == expected


def groups_of(keys: Iterable[str]) -> list[list[str]]:
    """Return limits in groups of which no check reads two."""
    groups: list[list[str]] = []
    readers: list[set[str]] = []
    for key in keys:
        reads = {slug for slug, check in CHECKS.items() if key in check.limits}
        for group, known in zip(groups, readers, strict=True):
            if not known & reads:
                group.append(key)
                known |= reads
                break
        else:
            groups.append([key])
            readers.append(reads)
    return groups


def test_a_limit_that_is_missing_is_said_to_be_and_is_no_fault(tmp_path: Path) -> None:
    """A check that misses one limit has no data; what needs one for every charge is refused, named.

    Limits that no check shares are missing together; one that is refused is then put back.
    """
    mill = open_mill(minimal_mill(tmp_path))
    review_all(mill)
    raw = (tmp_path / FILES["limits"]).read_text("utf-8")
    entries = {
        entry.strip().partition(":")[0]: entry
        for entry in re.findall(r"(?m)^  [a-z0-9-]+:\n(?:    .*\n)+", raw)
    }
    needed = set()
    for missing in groups_of(entries):
        while missing:
            left = raw
            for key in missing:
                left = left.replace(entries[key], "", 1)
            propose(mill, FILES["limits"], left.encode())
            try:
                review_all(mill)
                break
            except RecordProblems as refused:
                said = [str(problem) for problem in refused.problems]
                told = {
                    key
                    for key in missing
                    if any(
                        f"{FILES['limits']}:1:1: the limit '{key}' is missing" in one
                        for one in said
                    )
                }
                assert len(told) == len(said), said
                needed |= told
                missing = [key for key in missing if key not in told]
    assert len(entries) > 100
    assert "settling-hours" in needed
