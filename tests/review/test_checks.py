"""Every check: a charge that passes, one that does not, one without data, and both sides of a
limit."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from contextlib import suppress
from typing import Any

import pytest
from tests.review import (
    rows_arithmetic,
    rows_boards,
    rows_ending,
    rows_following,
    rows_heat_treatment,
    rows_instruments,
    rows_lots,
    rows_moisture_sensors,
    rows_publication,
    rows_rate,
    rows_records,
    rows_schedule,
    rows_survey,
)
from tests.review.inline import LOG_FILE, make_case, make_lot_case, real_limits, written_at
from tests.review.table import Blank, Edge, Fault

from kilnfolio.review import checks as _registered  # noqa: F401  fills the registry
from kilnfolio.review.dossier import Finding
from kilnfolio.review.findings import CHECKS, GROUPS, AnyCase, NoData, NotApplicable, Publication
from kilnfolio.review.limits import LimitTable
from kilnfolio.review.running import run_checks

TABLES = (
    rows_arithmetic,
    rows_boards,
    rows_ending,
    rows_following,
    rows_heat_treatment,
    rows_instruments,
    rows_lots,
    rows_moisture_sensors,
    rows_publication,
    rows_rate,
    rows_records,
    rows_schedule,
    rows_survey,
)
FAULTS: list[Fault] = [row for table in TABLES for row in table.FAULTS]
BLANKS: list[Blank] = [row for table in TABLES for row in table.BLANKS]
EDGES: list[Edge] = [row for table in TABLES for row in table.EDGES]

#: Checks that need only what every charge or lot has.
NEED_NO_MORE = {
    "schedule-within-kiln",
    "schedule-approved",
    "signed",
    "dates-in-order",
    "thickness-rule",
    "volume-out",
    "schedule-emc-against-mc",
}


#: Checks of what the clean charge is not: air-dried, stopped, mixed, timed, with moisture sensors.
NOT_OF_THE_CLEAN = {
    **dict.fromkeys(
        (
            "sample-coverage",
            "regain-in-stop",
            "start-step",
            "step-hours",
            "pins-against-boards",
            "emc-sensor-against-bulbs",
        ),
        "not applicable",
    ),
    "boards-against-survey": "no data",  # no weighing at the end of conditioning
}

#: Limits of the archive, which no check reads.
NO_CHECK = {"retention-years"}


def case_of(row: Any) -> AnyCase:
    of = CHECKS[row.slug].of
    if of == "publication":
        return dataclasses.replace(clean_publication(), **row.changes)
    make = make_case if of == "charge" else make_lot_case
    return make(row.changes, **row.make)


def clean_publication() -> Publication:
    """Return a build that was inspected and has nothing wrong."""
    return Publication((), (), ())


def findings_of(case: AnyCase, slug: str) -> list[Finding]:
    return [finding for finding in run_checks(case) if finding.check == slug]


def outcome_of(findings: Iterable[Finding]) -> str:
    """Return one word for the outcome of a check; a note is something it noticed."""
    found = {"note" if finding.noted else finding.outcome for finding in findings}
    return next(
        word
        for word in ("fail", "question", "note", "no data", "not applicable", "pass")
        if word in found
    )


@pytest.fixture(scope="module")
def clean() -> dict[str, list[Finding]]:
    cases = (make_case(), make_lot_case(), clean_publication())
    found = [finding for case in cases for finding in run_checks(case)]
    return {slug: [f for f in found if f.check == slug] for slug in CHECKS}


@pytest.mark.parametrize("slug", CHECKS)
def test_the_check_passes_on_a_clean_charge(slug: str, clean: dict[str, list[Finding]]) -> None:
    (found,) = clean[slug]
    expected = NOT_OF_THE_CLEAN.get(slug, "pass")
    assert (found.outcome, found.noted) == (expected, False), found.message
    assert found.message[0].isupper() or found.message[0].isdigit()
    assert found.message.endswith(".")


@pytest.mark.parametrize("row", FAULTS, ids=lambda row: f"{row.slug}: {row.says[0][:40]}")
def test_the_check_finds_its_fault(row: Fault) -> None:
    found = findings_of(case_of(row), row.slug)
    assert tuple(f.message for f in found) == row.says
    first = found[0]
    assert outcome_of([first]) == (row.outcome or CHECKS[row.slug].severity)
    for name in ("value", "limit"):
        wanted = getattr(row, name)
        got = getattr(first, name)
        assert (got is None) == (wanted is None), name
        assert wanted is None or got == pytest.approx(wanted, abs=0.06)
    assert_place(row, first)


def assert_place(row: Fault, finding: Finding) -> None:
    """Assert that the finding points at the line with the fault."""
    if row.at is None:
        assert finding.where == ()
    elif isinstance(row.at, int):
        assert (finding.where[0].file, finding.where[0].line) == (LOG_FILE, row.at)
    else:
        assert written_at(finding.where[0], row.changes).startswith(row.at)


@pytest.mark.parametrize("row", BLANKS, ids=lambda row: f"{row.slug}: {row.says[:40]}")
def test_the_check_says_what_data_is_missing(row: Blank) -> None:
    assert [(f.outcome, f.message) for f in findings_of(case_of(row), row.slug)] == [
        (row.outcome, row.says)
    ]


@pytest.mark.parametrize(("slug", "log", "says"), rows_moisture_sensors.AGREEING)
def test_sensors_that_agree_pass(slug: str, log: Any, says: str) -> None:
    (found,) = findings_of(make_case(log=log), slug)
    assert (found.outcome, found.message) == ("pass", says)


@pytest.mark.parametrize("row", EDGES, ids=lambda row: f"{row.slug}: {row.keys}")
def test_the_check_is_right_on_both_sides_of_its_limit(row: Edge) -> None:
    beyond = row.beyond or CHECKS[row.slug].severity
    assert outcome_of(findings_of(row.case(-row.step), row.slug)) == row.within
    assert outcome_of(findings_of(row.case(+row.step), row.slug)) == beyond


# --- every check has its rows --------------------------------------------------------------------


def test_every_check_has_a_fault_and_a_blank() -> None:
    assert {row.slug for row in FAULTS} == set(CHECKS)
    assert {row.slug for row in BLANKS} == set(CHECKS) - NEED_NO_MORE


def test_every_limit_of_a_check_is_tried_on_both_sides() -> None:
    """A limit that several checks share is tried by one of them."""
    tried = {(row.slug, key) for row in EDGES for key in row.keys.split()}
    declared = {(slug, key) for slug, check in CHECKS.items() for key in check.limits}
    assert tried <= declared
    assert {key for _, key in tried} == {key for _, key in declared}


def test_the_limits_declared_by_checks_are_those_in_the_file() -> None:
    declared = {key for check in CHECKS.values() for key in check.limits}
    assert declared == set(real_limits().record.limits) - NO_CHECK


def test_checks_read_the_limits_they_declare(monkeypatch: pytest.MonkeyPatch) -> None:
    read: set[str] = set()
    find = LimitTable.find
    monkeypatch.setattr(
        LimitTable,
        "find",
        lambda book, key, subject=None: read.add(key) or find(book, key, subject),
    )
    cases = {
        "charge": make_case(),
        "lot": make_lot_case(),
        "publication": clean_publication(),
    }
    for check in CHECKS.values():
        for case in [cases[check.of], *(case_of(row) for row in FAULTS if row.slug == check.slug)]:
            read.clear()
            with suppress(NoData, NotApplicable):
                list(check.run(case))
            # any check of lots may ask what was ordered, and any other for a stage or the water
            of_lots = check.of == "lot"
            early = {"stage-end-grace", "loading-temperature"}
            shared = set(CHECKS["lot-moisture"].limits) if of_lots else early
            assert read <= set(check.limits) | shared, check.slug


@pytest.mark.parametrize("slug", CHECKS)
def test_every_check_explains_itself_to_a_reader(slug: str) -> None:
    check = CHECKS[slug]
    assert check.slug == slug
    assert check.group in GROUPS
    assert check.title
    assert check.source
    for sentence in (check.reason, check.passes):
        assert sentence[0].isupper()
        assert sentence.endswith(".")
