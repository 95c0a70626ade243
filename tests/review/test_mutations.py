"""Each fault of the catalogue, planted alone in a clean charge, is found, and nothing else.

What else a fault must set off is listed in ``tests/data/mutations.yaml``, with the reason.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from tests.review.mutations import LOT_OF, THICK_OAK, raised, raised_when_clean
from tests.review.planted import PLANTED

from kilnfolio.review.findings import CHECKS

ENTAILED: dict[str, dict[str, str]] = (
    yaml.load(
        (Path(__file__).resolve().parents[1] / "data/mutations.yaml").read_text("utf-8"),
        yaml.CSafeLoader,
    )
    or {}
)


#: Boards chosen because they are wet overstate the little water in an air-dried load.
NOTED = {THICK_OAK: frozenset({"water-balance"})}


@pytest.mark.parametrize("charge", LOT_OF)
def test_the_charges_are_clean(charge: str) -> None:
    assert raised_when_clean(charge) <= NOTED.get(charge, frozenset())


@pytest.mark.parametrize("slug", PLANTED)
def test_the_planted_fault_is_found_and_nothing_else(slug: str) -> None:
    mutation = PLANTED[slug]
    clean = set() if mutation.publication is not None else raised_when_clean(mutation.charge)
    assert slug not in clean
    assert raised(mutation) - clean == {slug, *ENTAILED.get(slug, {})}, (
        "what a fault entails stands in tests/data/mutations.yaml"
    )


def test_every_check_has_its_fault() -> None:
    assert set(PLANTED) == set(CHECKS)


def test_every_accompanying_finding_has_a_reason() -> None:
    entries: list[tuple[str, Any]] = [
        (slug, reason) for entry in ENTAILED.values() for slug, reason in entry.items()
    ]
    assert set(ENTAILED) <= set(PLANTED)
    assert {slug for slug, _ in entries} <= set(CHECKS)
    assert all(isinstance(reason, str) and reason.endswith(".") for _, reason in entries)
