"""Drawings of lots and charges, from their values to SVG, against writing their own strings.

Each run draws the drawings of other lots and charges in turn, as a build does, and nothing that an
earlier run left behind is used.

The floor is given each finished drawing as the strings between its numbers, and the numbers. It
rounds every number to a tenth, drops a zero, and joins everything to the same bytes. It works out
no position, scale, style or word: the ratio says what these cost beside the writing. The floor of
a QR code is the library's encoding of the address, without any drawing of it.
"""

import re
from collections.abc import Callable, Sequence
from functools import partial

import pytest
from tests.bench.mills import make_mill
from tests.reviewed import Reviewed, reviewed_mill
from zxingcpp import BarcodeFormat, create_barcode

from kilnfolio.charts import axes, survey
from kilnfolio.charts.charge import charge_chart
from kilnfolio.charts.range_strip import range_strip
from kilnfolio.charts.store import store_chart
from kilnfolio.forecast.outdoors import steady
from kilnfolio.forecast.store import estimates
from kilnfolio.physics.drying import Board
from kilnfolio.site import qr
from kilnfolio.site.pages.customer import CustomerLot, customer_lot
from kilnfolio.site.sealed import lot_addresses

#: A number with at most one decimal, as drawings round them.
_NUMBER = re.compile(r"(?<![\d.])\d+(?:\.\d)?(?![\d.])")
_CHARGES = 20

Draw = Callable[[], str]


@pytest.fixture(scope="module")
def mill(tmp_path_factory) -> Reviewed:
    return reviewed_mill(make_mill(tmp_path_factory.mktemp("drawn") / "mill", charges=_CHARGES))


@pytest.fixture(scope="module")
def lots(mill) -> list[CustomerLot]:
    return [
        customer_lot(
            mill.folder, lot, mill.dossiers, review, lot_addresses(mill.folder.graph, lot).live[0]
        )
        for lot, review in mill.lots.items()
    ]


def _drawings(mill: Reviewed, lots: Sequence[CustomerLot]) -> dict[str, list[Draw]]:
    drawn = CustomerLot.chart.func  # not kept, as a lot keeps it
    zone = mill.folder.mill.record.zone
    stores = {
        lot.record.lot: estimates(Board(27.0, lot.measured.mean, 2e-10), steady(20.0, 50.0), 3)
        for lot in lots
    }
    return {
        "histograms": [partial(lambda lot: drawn(lot).svg, lot) for lot in lots],
        "strips": [partial(range_strip, lot.measured) for lot in lots],
        "lots in store": [
            partial(store_chart, lot, stored, (7.0, 11.0)) for lot, stored in stores.items()
        ],
        "courses of charges": [
            partial(charge_chart, charge, zone) for charge in mill.dossiers.values()
        ],
    }


def _forget() -> None:
    for kept in (axes._frame, axes.even_axis, survey._panel, qr._code):
        kept.cache_clear()


def _written(number: float) -> str:
    return f"{number:.1f}".removesuffix(".0")


def _writer(drawing: str) -> Draw:
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


@pytest.mark.parametrize("name", ["histograms", "strips", "lots in store", "courses of charges"])
def test_drawings(book, mill, lots, name):
    draw = _drawings(mill, lots)[name]
    write = [_writer(str(one())) for one in draw]
    assert [one() for one in write] == [one() for one in draw]

    def ours() -> None:
        _forget()
        for one in draw:
            one()

    def bare() -> None:
        for one in write:
            one()

    book.against(f"{len(draw)} {name}", ours, "writing their strings", bare, 1.2, times=25)


def test_codes(book, lots):
    addresses = [lot.label_address for lot in lots]

    def ours() -> None:
        _forget()
        for one in addresses:
            qr.qr_svg(one, "Code")

    def bare() -> None:
        for one in addresses:
            create_barcode(one, BarcodeFormat.QRCode, ec_level=qr.ERROR_CORRECTION)

    book.against(f"{len(lots)} QR codes", ours, "the library's encoding", bare, None, times=25)
