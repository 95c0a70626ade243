"""The page of scales and meters, from a small mill whose records say what it must find."""

import datetime as dt

import numpy as np
import pytest
from tests.minimal import minimal_mill, minimal_records

from kilnfolio.cli import main
from kilnfolio.records.folder import open_mill
from kilnfolio.site.context import mill_context
from kilnfolio.site.pages.measuring import measuring_page

FILE = "content/instruments/pins.yaml"


def trials(**more):
    return {
        "format": 1,
        "id": "pins",
        "kind": "resistance meter",
        "instrument": "pins",
        "kilns": ["k1"],
        **more,
    }


def page(root):
    return measuring_page(mill_context(open_mill(root).graph)).html.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def pairs(count, slope=1.0, drift=0.0):
    rng = np.random.default_rng(4)
    day = dt.date(2026, 1, 5)
    meter = np.round(rng.uniform(7, 13, count), 1)
    late = np.arange(count) >= count / 2
    oven = np.round(slope * meter + rng.normal(0, 0.15, count) + drift * late, 1)
    return [
        {
            "on": day + dt.timedelta(days=7 * n),
            "species": "quercus-rubra",
            "meter": f"{meter[n]} %",
            "oven": f"{oven[n]} %",
        }
        for n in range(count)
    ]


def test_repeated_readings_give_the_standard_deviation_of_numpy(tmp_path):
    read = [[8.0, 8.3, 8.1, 8.4], [10.2, 10.0, 10.5, 10.1], [7.0, 7.3, 6.8, 7.1], [9.0, 9.2]]
    repeats = [
        {"on": dt.date(2026, 3, 2), "piece": f"P{n}", "mc": [f"{one} %" for one in series]}
        for n, series in enumerate(read)
    ]
    html = page(minimal_mill(tmp_path, files={FILE: trials(repeats=repeats)}))
    squares = sum(np.var(one) * len(one) for one in read)
    assert f"<b>{np.sqrt(squares / 10):.2f} % MC</b>" in html
    assert "with 10 degrees of freedom" in html


def test_few_readings_are_too_few_to_tell(tmp_path):
    repeats = [{"on": dt.date(2026, 3, 2), "piece": "A", "mc": ["8.0 %", "8.3 %"]}]
    html = page(minimal_mill(tmp_path, files={FILE: trials(repeats=repeats, oven_pairs=pairs(7))}))
    assert "Too few to tell: 1 degrees of freedom, 10 are needed" in html
    assert "Too few to tell: 7 pairs" in html


@pytest.mark.parametrize(("drift", "found"), [(0.0, False), (0.8, True)])
def test_a_meter_that_drifts_is_named_and_a_steady_one_is_not(tmp_path, drift, found):
    html = page(minimal_mill(tmp_path, files={FILE: trials(oven_pairs=pairs(24, drift=drift))}))
    assert ("pairs in a row" in html) is found
    assert ("No sign of drift" in html) is not found


def test_pairs_of_final_surveys_count_too(tmp_path):
    survey = minimal_records()["charge"]["survey"]
    survey["oven_pairs"] = [{"meter": "12.1 %", "oven": "12.6 %"}]
    files = {FILE: trials(oven_pairs=pairs(7))}
    html = page(minimal_mill(tmp_path, charge={"survey": survey}, files=files))
    assert "from 8 pairs" in html


def test_nobody_is_named(tmp_path):
    html = page(minimal_mill(tmp_path, files={FILE: trials(oven_pairs=pairs(9))}))
    assert "A. N. Other" not in html


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"kilns": ["k1"], "instrument": "db"}, "has no resistance meter of this id"),
        ({"kilns": ["k9"]}, "there is no kiln of this name"),
        ({"repeats": [{"on": "2026-03-02", "piece": "A", "mc": ["8 %"]}]}, "no repeatability"),
        ({"repeats": [{"on": "2026-03-02", "piece": "A"}]}, "either masses or MC"),
        (
            {"repeats": [{"on": "2026-03-02", "piece": "A", "masses": ["8 g", "9 g"]}]},
            "a resistance meter shows MC",
        ),
    ],
)
def test_a_slip_is_refused_in_words(tmp_path, capsys, more, says):
    root = minimal_mill(tmp_path, files={FILE: trials(**more)})
    assert main(["check", str(root)]) == 2
    assert says in capsys.readouterr().err
