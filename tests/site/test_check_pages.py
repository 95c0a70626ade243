"""The catalogue of checks: their sources, their limits as the mill sets them, and what was used."""

from __future__ import annotations

import re
from typing import Any

import pytest
import yaml
from tests.minimal import FILES, LIBRARY
from tests.site.site import Mill, Outline, small_mill

from kilnfolio.cli import main
from kilnfolio.records.limits import Limits
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.review.findings import CHECKS

OWN = {
    "value": 7.25,
    "unit": "K",
    "meaning": "As our own kilns jump.",
    "source": "common practice",
    "status": "mill",
    "scope": {
        "species": ["quercus-rubra"],
        "kind": "hardwood",
        "thicker_than": "20 mm",
        "target_mc": 12,
        "region": "Canada",
    },
}


def edited(limits: dict[str, Any]) -> None:
    limits["limits"]["spike-kelvin"].append(OWN)
    limits["limits"]["gap-total"][0].update(value=1.75, status="mill")


def spoilt_log(log: str) -> str:
    """Mark one reading missing, repeat one time and leave one row blank."""
    head, first, second, *rest = log.rstrip("\n").split("\n")
    time, _, wet = second.split(",")
    return "\n".join([head, first, f"{time},-999,{wet}", second, "", *rest]) + "\n"


@pytest.fixture(scope="module")
def mill(tmp_path_factory) -> Mill:
    from tests.minimal import minimal_log

    return small_mill(
        tmp_path_factory.mktemp("mill"),
        limits=edited,
        logger={"missing": ["-999"]},
        log=spoilt_log(minimal_log()),
    )


@pytest.fixture(scope="module")
def pages(mill) -> dict[str, str]:
    return {page.path: Outline(page.html).text.replace("\u00a0", " ") for page in mill.pages}


def test_every_check_names_its_source_in_words(mill, pages):
    publications = mill.folder.sources.record.publications
    for check in CHECKS.values():
        said = re.search(
            r"Source of the rule: (.*?)\. (?:A breach|$)", pages[f"checks/{check.slug}.html"]
        )
        assert said, check.slug
        ids = [name for name in publications if "-" in name and name in said[1]]
        assert not ids, (check.slug, said[1])
        for name in re.findall(r"[a-z]+(?:-[a-z0-9]+)+", check.source):
            if name in publications:
                assert publications[name].short in said[1], check.slug


def test_a_check_says_what_clears_a_fail(pages):
    for slug, words in (
        ("heat-treatment-run", "until the record is corrected; no answer clears it."),
        (
            "wet-bulb-above-dry-bulb",
            "or the finding is answered as 'instrument at fault'; no other",
        ),
        ("equalizing-end", "until the record is corrected or the finding is answered and signed."),
    ):
        assert words in pages[f"checks/{slug}.html"], slug


def test_every_limit_shows_its_source(pages):
    words = {"common practice": "common practice, no source", "memory": "from memory, unconfirmed"}
    limits = yaml.load((LIBRARY / "limits.yaml").read_text("utf-8"), yaml.CSafeLoader)["limits"]
    for check in CHECKS.values():
        page = pages[f"checks/{check.slug}.html"]
        for key in check.limits:
            for limit in limits[key]:
                if limit["status"] in words and key not in ("spike-kelvin", "gap-total"):
                    assert words[limit["status"]] in page, (check.slug, key)
                if "scope" not in limit:
                    assert "everywhere" in page


def test_limits_that_the_mill_edits_are_shown_and_used(mill, pages):
    page = pages["checks/spike.html"]
    row = page[page.index("7.25 K") :][:200]
    for words in (
        "hardwoods",
        "red oak",
        "thicker than 0.79 in (20 mm)",
        "mills in Canada",
        "target 12 % MC",
        "As our own kilns jump.",
        "mill",
    ):
        assert words.casefold() in row.casefold(), words
    assert "1.75 h" in pages["checks/gap-in-log.html"]
    # in Canada, and 25 mm is thicker than 20: the narrowest scope that fits
    from kilnfolio.review.limits import Subject, limit_table

    subject = Subject(("quercus-rubra",), "hardwood", 25.0, 12.0)
    assert limit_table(mill.folder, subject).value("spike-kelvin") == 7.25
    assert limit_table(mill.folder, Subject()).value("spike-kelvin") != 7.25
    assert limit_table(mill.folder, subject).value("gap-total") == 1.75


@pytest.mark.parametrize("gone", ["value", "unit", "meaning", "source", "status"])
def test_a_limit_without_its_origin_is_refused(gone):
    limit = {key: value for key, value in OWN.items() if key != gone}
    text = yaml.safe_dump(
        {"format": 1, "revision": 1, "limits": {"spike-kelvin": [limit]}}, allow_unicode=True
    )
    with pytest.raises(RecordProblems, match=f"the key '{gone}' is missing"):
        validate(parse_yaml(text.encode(), "schedules/limits.yaml"), Limits)


def test_rows_of_the_log_that_were_not_used_are_counted_with_the_reason(mill, pages):
    log = mill.dossiers["C1"].log
    reasons = {
        "cells of dry-bulb marked missing": 1,
        "blank rows": 1,
        "rows whose clock repeats or runs back": 1,
    }
    assert log.left_out == reasons
    # the blank row, the repeated one and the reading that is missing are not used
    assert log.rows - log.used == 3
    page = pages["charges/C1.html"]
    assert f"The log holds {log.rows} rows" in page
    assert f"{log.used} used" in page
    for reason, count in reasons.items():
        assert f"Not used, {reason}: {count}." in page


def test_what_was_not_checked_is_counted_and_listed(mill, pages):
    missing = [finding for finding in mill.dossiers["C1"].findings if finding.outcome == "no data"]
    assert missing
    page = pages["charges/C1.html"]
    assert re.search(rf"\b{len(missing)} no data\b", page)
    for finding in missing:
        assert CHECKS[finding.check].title in page
        assert finding.message in page


@pytest.mark.parametrize("gone", ["old", "reason", "by", "at"])
def test_a_value_overwritten_without_a_reason_is_refused(tmp_path, capsys, gone):
    from tests.minimal import minimal_mill

    correction = {
        "field": "boards.S1.green_mass",
        "old": "2911 g",
        "new": "2119 g",
        "reason": "digits changed about",
        "by": "A. N. Other",
        "at": "2026-06-01T09:00",
    }
    del correction[gone]
    root = minimal_mill(tmp_path / "mill", charge={"corrections": [correction]})
    assert main(["check", str(root)]) == 2
    said = capsys.readouterr().err
    assert f"{FILES['charge']}:" in said
    assert f"the key '{gone}' is missing" in said
