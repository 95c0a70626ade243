"""Pages of trends of 100, 1,000 and 10,000 charges of record, against the least that such pages need.

The charges are the reviews of `REVIEWED` charges of an invented mill, as the lines that a build keeps
of them, written out again with other numbers, days, kilns and figures. What is timed begins with
these lines: series, verdicts, charts and finished pages. Reviewing the charges, reading them and
writing files are left out.

Run by name: sh builder/run test tests/bench/test_trends_of_record.py -s
"""

import datetime as dt
import json
from dataclasses import asdict, replace

import numpy as np
import pytest
from tests.bench.harness import timed
from tests.bench.mills import make_mill

from kilnfolio.records import reading
from kilnfolio.records.folder import open_mill
from kilnfolio.site.context import mill_context
from kilnfolio.site.page_kinds import MILL
from kilnfolio.trends import control
from kilnfolio.trends.past import past_charge

REVIEWED, KILNS = 20, 4


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    return make_mill(tmp_path_factory.mktemp("record") / "mill", charges=REVIEWED, lots_each=1)


def lines_of(graph, count):
    """Return so many lines, oldest first."""
    rng = np.random.default_rng(count)
    kept = [past_charge(graph, name) for name in graph.names("charge")]
    first = dt.datetime(2010, 1, 4, tzinfo=dt.UTC)
    found = []
    for number in range(count):
        one, started = kept[number % len(kept)], first + dt.timedelta(hours=12 * number)
        found.append(
            replace(
                one,
                number=f"R{number}",
                kiln=f"kiln-{1 + number % KILNS}",
                started=started,
                ended=started + dt.timedelta(hours=one.hours),
                hours_forecast=one.hours * float(np.exp(rng.normal(0.0, 0.1))),
                final_mean_pct=one.target_pct + rng.normal(0.0, 0.4),
                final_sd_pct=float(np.exp(rng.normal(0.0, 0.2))),
                energy_kwh_kg=float(np.exp(rng.normal(0.3, 0.1))),
            )
        )
    return tuple(found)


def floor_of(text):
    """Read the lines as plain JSON and take the mean and spread of four figures by kiln and timber."""
    streams = {}
    for one in json.loads(text):
        for key in (one["kiln"], f"{one['species']}/{one['thickness_mm']}"):
            streams.setdefault(key, []).append(
                (one["final_mean_pct"], one["final_sd_pct"], one["hours"], one["energy_kwh_kg"])
            )
    return [(np.mean(one, axis=0), np.std(one, axis=0)) for one in streams.values()]


@pytest.mark.parametrize("count", [100, 1_000, 10_000])
def test_growth(book, mill, monkeypatch, count):
    graph = open_mill(mill).graph
    lines = lines_of(graph, count)

    def given(_, group=reading.ALL):
        kind, _, named = group.partition(":")
        return tuple(one for one in lines if not named or getattr(one, kind) == named)

    text = json.dumps([asdict(one) for one in lines], default=str)
    monkeypatch.setattr(control, "past_charges", given)
    context, pages = mill_context(graph), []

    def make_pages():
        names = MILL["trend"].names(context)
        pages.extend(page for name in names for page in MILL["trend"].pages(context, name))

    pairs = [(timed(lambda: floor_of(text)), timed(make_pages))]
    book.compare(
        f"pages of trends, {count:,} charges of record", pairs, "lines read, and means", None
    )
    assert len(pages) >= KILNS
