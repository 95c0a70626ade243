"""Drawings of a lot and of a charge, from their values to SVG, against writing their own strings.

The floor is given each finished drawing as the strings between its numbers, and the numbers. It
rounds every number to a tenth, drops a zero, and joins everything to the same bytes. It works out
no position, scale, style or word: the ratio says what these cost beside the writing.
"""

import re
from collections.abc import Callable

import pytest
from tests.bench.mills import make_mill
from tests.reviewed import Reviewed, reviewed_mill

from kilnfolio.charts.charge import charge_chart
from kilnfolio.charts.range_strip import Strip, range_strip
from kilnfolio.charts.store import store_chart
from kilnfolio.charts.survey import histogram
from kilnfolio.forecast.outdoors import steady
from kilnfolio.forecast.store import estimates
from kilnfolio.physics.drying import Board

#: A number with at most one decimal, as drawings round them.
_NUMBER = re.compile(r"(?<![\d.])\d+(?:\.\d)?(?![\d.])")
_TIMES = 200


@pytest.fixture(scope="module")
def mill(tmp_path_factory) -> Reviewed:
    return reviewed_mill(make_mill(tmp_path_factory.mktemp("drawn") / "mill", charges=1))


def _drawings(mill: Reviewed) -> dict[str, Callable[[], str]]:
    [charge, *_], [lot, *_] = mill.dossiers.values(), mill.lots.values()
    readings, mean = lot.readings, lot.judgement.mean_pct
    strip = Strip(min(readings), mean, max(readings), 9.0, 7.0, 11.0)
    zone = mill.folder.mill.record.zone
    kept = estimates(Board(27.0, mean, 2e-10), steady(20.0, 50.0), 3)
    return {
        "histogram of a lot": lambda: histogram(readings, title="Lot", alone=False).svg,
        "strip of a lot": lambda: range_strip(strip),
        "lot in store": lambda: store_chart("Lot in store", kept, (7.0, 11.0)),
        "course of a charge": lambda: charge_chart(charge, zone),
    }


def _written(number: float) -> str:
    return f"{number:.1f}".removesuffix(".0")


def _writer(drawing: str) -> Callable[[], str]:
    """Return a function that writes a drawing from its strings and its numbers."""
    found = [one for one in _NUMBER.finditer(drawing) if _written(float(one[0])) == one[0]]
    numbers = [float(one[0]) for one in found]
    ends = [0, *(one.end() for one in found)]
    words = [drawing[end : one.start()] for end, one in zip(ends, found, strict=False)]
    last = drawing[ends[-1] :]

    def write() -> str:
        parts = []
        for text, number in zip(words, numbers, strict=True):
            parts += (text, f"{number:.1f}".removesuffix(".0"))
        return "".join(parts) + last

    return write


@pytest.mark.parametrize(
    "name", ["histogram of a lot", "strip of a lot", "lot in store", "course of a charge"]
)
def test_drawing(book, mill, name):
    draw = _drawings(mill)[name]
    write = _writer(str(draw()))

    def often(what: Callable[[], str]) -> Callable[[], None]:
        def run() -> None:
            for _ in range(_TIMES):
                what()

        return run

    assert write() == draw()
    book.against(f"{name}, {_TIMES} times", often(draw), "writing its strings", often(write), 1.2)
