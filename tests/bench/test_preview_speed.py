"""From a saved record to its fresh page, in a preview that is running.

KILNFOLIO_BENCH_PREVIEW names the size of the mill; 200 charges where it is absent.
"""

import os

import pytest
from tests.bench.harness import processor, timed
from tests.bench.mills import SPECIES, charge_file, charge_ids, make_mill
from tests.bench.test_build_speed import change_a_weighing

from kilnfolio.adopt.preview import preview_of
from kilnfolio.rendering import routes

SIZE = int(os.environ.get("KILNFOLIO_BENCH_PREVIEW", "200"))
GOAL = 0.3
WOOD, LIMIT = SPECIES[0], "gained-weight-while-drying"
CHARGE = charge_ids(SIZE)[SIZE // 2]

#: By kind of record: its file, words in it and others for them, and the page that shows them.
CHANGES = {
    "species": (f"schedules/species/{WOOD}.yaml", "basic: 0.49", "basic: 0.50", routes.species(WOOD)),
    "schedule": (
        f"schedules/hardwood/{WOOD}-air-dried.yaml",
        "title: ",
        "title: New ",
        routes.schedule(f"{WOOD}-air-dried"),
    ),
    "kiln": ("content/kilns/kiln-1.yaml", "name: Kiln", "name: New kiln", routes.kiln("kiln-1")),
    "limit": (
        "schedules/limits.yaml",
        f"{LIMIT}:\n    - value: 0.2",
        f"{LIMIT}:\n    - value: 0.4",
        routes.limit(LIMIT),
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def preview(tmp_path_factory):
    with preview_of(make_mill(tmp_path_factory.mktemp("preview"), charges=SIZE)) as preview:
        preview.refresh()
        preview.finish()
        yield preview


def change(root, kind, turn):
    """Change a record, and in the next turn change it back; return its page."""
    if kind == "weighing":
        change_a_weighing(charge_file(root, CHARGE), (-1) ** turn)
        return routes.charge(CHARGE)
    file, old, new, page = CHANGES[kind]
    path = root / file
    text = path.read_text("utf-8")
    path.write_text(text.replace(new, old) if turn % 2 else text.replace(old, new), "utf-8")
    return page


@pytest.mark.parametrize("kind", ["weighing", *CHANGES])
def test_a_saved_record(book, preview, kind):
    """All other pages follow, and are not timed."""
    turns = []
    for turn in range(6):
        page = change(preview.root, kind, turn)
        before = preview.file(page)
        preview._looked_at.update([f"mill/{page}"])  # as a browser does that shows it
        turns.append((GOAL, timed(preview.show_saved, processor)))
        preview._looked_at.clear()
        assert preview.file(page) != before
    preview.refresh()
    preview.finish()
    book.compare(
        f"preview, one {kind} saved, {SIZE:,} charges, to its page", turns, "the goal of 0.3 s", 1.0
    )
