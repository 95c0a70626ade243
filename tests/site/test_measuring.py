"""The page of scales and meters, from a small mill whose records say what it must find."""

import datetime as dt
import os

import numpy as np
import pytest
from scipy import stats
from tests.minimal import minimal_mill, minimal_records

from kilnfolio.cli import main
from kilnfolio.physics.measuring import fitted_correction
from kilnfolio.records.folder import open_mill
from kilnfolio.site.context import mill_context
from kilnfolio.site.pages.measuring import drift_of, measuring_page
from kilnfolio.trends.control import CHANCE

MILLS = 3 * int(os.environ.get("KILNFOLIO_TRENDS", "20"))
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
    assert ("from this pair on, a mean of" in html) is found
    assert ("No sign of drift" in html) is not found


def told(meters, rng):
    """Return how many of a mill's meters are told to drift; each has its own number of pairs."""
    named = 0
    for count in meters:
        meter = rng.uniform(7.0, 13.0, count)
        oven = 0.4 + 0.97 * meter + rng.normal(0.0, 0.3, count)
        line = fitted_correction(meter, oven)
        found = drift_of(oven - line.intercept - line.slope * meter, len(meters))
        named += bool(found.beyond) or found.shifted is not None
    return named


def test_sound_meters_are_told_to_drift_in_one_mill_of_twenty_however_many_it_has():
    """Simulated mills with eight series each: 5 % promised, 99.9 % of draws lie below the bound."""
    rng = np.random.default_rng(29)
    false = sum(told((12,) * 4 + (30,) * 4, rng) > 0 for _ in range(MILLS))
    print(f"{MILLS} mills with sound meters: {false} told of a drift")  # noqa: T201
    assert false <= stats.binom.ppf(0.999, MILLS, CHANCE)


def test_a_pair_far_from_its_line_is_named_by_its_day():
    left = np.random.default_rng(3).normal(0.0, 0.2, 30)
    left[20] = 2.0
    found = drift_of(list(left - left.mean()), 8)
    assert found.beyond == (20,)
    assert drift_of([0.0] * 9, 1) is None


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
