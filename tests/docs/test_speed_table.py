"""The tables of the decisions on speed are those of the results that are kept beside them."""

import json

from tests.bench.table import COMMITTED, PAGE, table


def test_the_page_shows_the_results():
    assert table(json.loads(COMMITTED.read_text("utf-8"))) in PAGE.read_text("utf-8")
