"""Schemas in the tools people use: a format-checking validator, strict Ajv, an editor."""

import json
import subprocess
from functools import cache

import jsonschema
import pytest
from tests.adopt.own_files import MILL
from tests.conftest import PROJECT, some_of
from tests.records.test_schema import RECORDS

from kilnfolio.adopt.records import TEMPLATES
from kilnfolio.cli import main
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.schema import record_schema
from kilnfolio.records.yaml_source import read_yaml

#: Records with a slip, beside those that have none.
SLIPS = {"misspelt", "ended"}
CHECKER = PROJECT / "tests/browser/checkers/schemas.mjs"


@pytest.fixture(scope="module")
def starter(tmp_path_factory):
    """Return every record of a new mill, with a draft of each kind that may be one."""
    mill = tmp_path_factory.mktemp("new") / "mill"
    assert main(["new", "mill", str(mill), *MILL]) == 0
    for kind in TEMPLATES:
        assert main(["new", kind, "draft-1", str(mill)]) == 0
    return [
        (kind.name, path)
        for kind in RECORD_KINDS.values()
        for glob in kind.globs
        for path in sorted(mill.glob(glob))
        if not path.is_relative_to(mill / "schedules") or path.stem == "draft-1"
    ]


def complaints(records):
    """Return the complaints of Ajv and the YAML language server about records:

    (kind, name, text).
    """
    given = {
        "schemas": {kind: record_schema(kind) for kind in RECORD_KINDS},
        "records": [dict(zip(("kind", "name", "text"), one, strict=True)) for one in records],
    }
    run = subprocess.run(
        ["node", CHECKER.name],
        cwd=CHECKER.parent,
        input=json.dumps(given),
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(run.stdout)


@cache
def validator_of(kind):
    return jsonschema.Draft202012Validator(
        record_schema(kind), format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )


def formats_broken(kind, path):
    validator = validator_of(kind)
    return [
        f"{path}: {error.message}"
        for error in validator.iter_errors(read_yaml(path, path.name).value)
    ]


def test_the_demonstration_follows_its_schemas_formats_included():
    assert [words for kind, path in RECORDS for words in formats_broken(kind, path)] == []


def named(kind, path):
    """Return a record as the checkers take it."""
    return kind, f"{path.parent.name}-{path.stem}", path.read_text("utf-8")


@pytest.fixture(scope="module")
def complained(starter):
    """Return what the tools say, asked once: of the demonstration, of a new mill, and of slips."""
    kiln = (PROJECT / "content/kilns/kiln-1.yaml").read_text("utf-8")
    charge = next(path for kind, path in RECORDS if kind == "charge")
    lines = charge.read_text("utf-8").splitlines(keepends=True)
    ended = [line for line in lines if not line.startswith("target_mc:")]
    running = [line for line in ended if not line.startswith(("ended:", "unloaded:"))]
    slips = [
        ("kiln", "misspelt", kiln.replace("capacity: ", "capacty: ")),
        ("charge", "ended", "".join(ended)),
        ("charge", "running", "".join(running)),
    ]
    by_kind = {kind: [path for one, path in RECORDS if one == kind] for kind, _ in RECORDS}
    ours = [named(kind, path) for kind, paths in by_kind.items() for path in some_of(paths, 6)]
    return complaints([*ours, *(named(kind, path) for kind, path in starter), *slips])


def test_editors_and_strict_validators_accept_the_demonstration(complained):
    """By default a few of its records of each kind; all of them in a whole run."""
    assert [line for line in complained if line.split(": ")[1].split(":")[0] not in SLIPS] == []


def test_a_new_mill_and_its_drafts_pass_as_well(starter):
    drafts = [path for _, path in starter if "…" in path.read_text("utf-8")]
    assert len(drafts) >= len(TEMPLATES)
    assert [words for kind, path in starter for words in formats_broken(kind, path)] == []


def test_the_tools_find_what_is_wrong(complained):
    found = {line.partition(":")[0] for line in complained if "misspelt" in line}
    assert found == {"ajv", "yaml-language-server"}


def test_a_finished_charge_needs_every_key_and_a_running_one_does_not(complained):
    assert any("target_mc" in line for line in complained if ": ended:" in line)
    assert not [line for line in complained if ": running:" in line]
