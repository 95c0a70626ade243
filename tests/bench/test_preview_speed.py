"""From a saved record to its fresh page, in a preview that is running.

KILNFOLIO_BENCH_PREVIEW names the size of the mill; 200 charges where it is absent.
"""

import os
from statistics import median

from tests.bench.harness import Result, child, processor, timed
from tests.bench.mills import charge_file, charge_ids, make_mill
from tests.bench.test_build_speed import change_a_weighing

from kilnfolio.adopt.preview import preview_of

SIZE = int(os.environ.get("KILNFOLIO_BENCH_PREVIEW", "200"))
IMPORTS = "import kilnfolio.pipeline, kilnfolio.review.review, kilnfolio.site.pages, jinja2"


def test_a_saved_weighing(book, tmp_path):
    """The floor is what starting anew would cost before anything is read."""
    root = make_mill(tmp_path / "mill", charges=SIZE)
    path = charge_file(root, charge_ids(SIZE)[SIZE // 2])
    with preview_of(root) as preview:
        preview.refresh()
        preview.finish()
        walls, turns = [], []
        for grams in (1, -1, 1, -1, 1):
            change_a_weighing(path, grams)
            turns.append((child("-c", IMPORTS)[0], timed(preview.refresh, processor)))
            walls.append(preview.seconds)
            preview.finish()
    book.tell(
        Result(
            f"preview, one weighing saved, {SIZE:,} charges (wall {median(walls):.2f} s)",
            "interpreter and imports",
            median(low for low, _ in turns),
            median(high for _, high in turns),
            median(high / low for low, high in turns),
            0.65,
        )
    )
