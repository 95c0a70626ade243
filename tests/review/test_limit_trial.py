"""`try-limit`: a trial says what a full review says once the file is changed."""

import json
import random
import re
from collections import Counter
from dataclasses import replace

import pytest
import yaml
from tests.bench.mills import PROJECT, make_mill
from tests.conftest import WHOLE
from tests.cut import cut_of
from tests.minimal import minimal_mill

from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.limits import BOUNDS, HIGHEST, Limits
from kilnfolio.review.limit_trial import findings_under, try_limits
from kilnfolio.review.limit_values import (
    charge_trials,
    flips_between,
    lot_trials,
)
from kilnfolio.review.own_code import own_code
from kilnfolio.review.review import read_logs
from kilnfolio.review.reviews import dossiers

LIMITS = "schedules/limits.yaml"
#: The fullest charge, one amended, one that fails, one heat-treated, the largest, and a plain one.
CUT = {"HB-25-041", "HB-26-034", "HB-26-019", "HB-26-006", "HB-26-011", "HB-26-038"}


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    return minimal_mill(tmp_path_factory.mktemp("mill"))


def said_by_check(root, capsys):
    """Return how often each check came to each outcome, by record, as ``check`` prints it."""
    capsys.readouterr()
    main(["check", str(root), "--all", "--format", "json"])
    return {
        (record, check): Counter(counted)
        for record, findings in json.loads(capsys.readouterr().out)["findings"].items()
        for check in {one["check"] for one in findings}
        for counted in [
            [
                "note" if one["noted"] and one["outcome"] == "pass" else one["outcome"]
                for one in findings
                if one["check"] == check
            ]
        ]
    }


def changed(text, rng, most):
    """Return the limits file with some of its values made smaller or larger, and how many."""
    record = yaml.load(text, yaml.CSafeLoader)
    usable = sorted(record["limits"].keys() - BOUNDS.keys())  # a formula takes those in a range
    for key in rng.sample(usable, most):
        for entry in record["limits"][key]:
            entry["value"] *= rng.choice((0.05, 0.5, 1.9, 20))
    return yaml.safe_dump(record, sort_keys=False, allow_unicode=True)


@pytest.mark.parametrize("seed", range(4))
def test_a_trial_says_what_a_full_review_says_after_the_change(mill, capsys, seed):
    rng, path = random.Random(seed), mill / LIMITS
    before = path.read_text("utf-8")
    proposed = changed(before, rng, 70)
    trial = try_limits(mill, proposed.encode())
    assert path.read_text("utf-8") == before
    was = said_by_check(mill, capsys)
    path.write_text(proposed, "utf-8")
    try:
        now = said_by_check(mill, capsys)
    finally:
        path.write_text(before, "utf-8")
    differs = {name for name in was.keys() | now.keys() if was.get(name) != now.get(name)}
    assert differs
    assert {(flip.record, flip.check) for flip in trial.flips} == differs
    for flip in trial.flips:
        assert flip.before == was[flip.record, flip.check]
        assert flip.after == now[flip.record, flip.check]


def test_the_same_limits_change_nothing(mill):
    trial = try_limits(mill, (mill / LIMITS).read_bytes())
    assert trial.flips == ()
    assert (trial.charges, trial.lots, trial.schedules) == (1, 1, 1)


def test_the_command_names_the_check_and_writes_nothing(mill, capsys):
    before = {path: path.read_bytes() for path in mill.rglob("*") if path.is_file()}
    assert main(["try-limit", "gap-intervals=0.1", "--folder", str(mill)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("gap-intervals: 0.1 intervals instead of ")
    assert re.search(r"^  C1: gap-in-log: was pass, would be .*question", said, re.MULTILINE)
    assert "1 of 1 charges, 0 of 1 lots and 0 of 1 schedules would get another result" in said
    assert {path: path.read_bytes() for path in mill.rglob("*") if path.is_file()} == before


def random_values(book, rng):
    """Return a random value for each entry of the limits, by key and place."""
    values = {}
    for key, entries in book.limits.items():
        low, high = BOUNDS.get(key, (0.0, HIGHEST))
        for place, limit in enumerate(entries):
            value = limit.value * rng.choice((0.02, 0.3, 3, 30)) * rng.uniform(0.5, 1.5)
            values[key, place] = min(max(round(value, 3), low), high)
    return values


def with_value(book, key, place, value):
    """Return limits with one entry changed."""
    entries = list(book.limits[key])
    entries[place] = entries[place].model_copy(update={"value": value})
    return Limits.model_construct(**{**vars(book), "limits": {**book.limits, key: entries}})


@pytest.fixture(scope="module")
def invented(tmp_path_factory):
    return make_mill(tmp_path_factory.mktemp("invented") / "mill", charges=3, seed=5)


@pytest.fixture(scope="module")
def demonstration(tmp_path_factory):
    """Six charges of the demonstration and their lots; in a whole run, all."""
    if WHOLE:
        return PROJECT
    root = tmp_path_factory.mktemp("demonstration") / "mill"
    cut_of(PROJECT, root, CUT)
    return root


@pytest.mark.parametrize(("whose", "few"), [("mill", 13), ("invented", 6), ("demonstration", 3)])
def test_a_limit_at_a_random_value_flips_what_a_full_review_flips(whose, few, request):
    """A few limits, half of which flip something; KILNFOLIO_WHOLE=1 tries all."""
    folder, rng = checked_mill(request.getfixturevalue(whose)), random.Random(21)
    book = folder.limits.record
    values = random_values(book, rng)

    def tried(key, limit):
        return [values[key, place] for place, one in enumerate(book.limits[key]) if one is limit]

    own, of_charge, found = own_code(folder.graph), {}, {}
    for number in folder.charges:
        located = folder.located_charge(number)
        log = read_logs(folder, located)
        of_charge[number] = charge_trials(folder, located, log, own, tried)
    of_lots = [lot_trials(folder, lot, dossiers(folder), of_charge, tried) for lot in folder.lots]
    for one in (*of_charge.values(), *of_lots):
        for trial in one.trials:
            found.setdefault((trial.key, trial.entry), []).extend(trial.flips)
    assert len(found) > 5
    entries = sorted(values)
    if not WHOLE:
        half = rng.sample(sorted(found), few // 2)
        entries = sorted({*half, *rng.sample(entries, few - few // 2)})
    books = [
        replace(folder.limits, record=with_value(book, *entry, values[entry])) for entry in entries
    ]
    before, *after = findings_under(folder, (folder.limits, *books))
    for entry, findings in zip(entries, after, strict=True):
        flips = [
            flip
            for record in before
            if not record.startswith("schedule ")
            for flip in flips_between(record, before[record], findings[record])
        ]
        assert found.get(entry, []) == flips, (entry, values[entry])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("stage-emcc=3", "there is no limit 'stage-emcc'; did you mean 'stage-emc'?"),
        ("stage-emc", "write KEY=VALUE"),
        ("stage-emc=three", "write KEY=VALUE"),
        ("stage-emc:7=3", "has no entry 7"),
    ],
)
def test_a_slip_is_refused_in_words(mill, capsys, words, says):
    assert main(["try-limit", words, "--folder", str(mill)]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("thick-stock-divisor=0.1", "takes 1.01 to 10"),
        ("thick-stock-divisor=50", "takes 1.01 to 10"),
        ("dry-wick-days=-1", "schedules/limits.yaml"),
        ("daily-loss-hours=1000000000", "schedules/limits.yaml"),
    ],
)
def test_a_limit_that_no_check_can_use_is_refused_at_its_line(mill, capsys, words, says):
    assert main(["try-limit", words, "--folder", str(mill)]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert re.search(r"^schedules/limits\.yaml:\d+:\d+: ", said, re.MULTILINE)
