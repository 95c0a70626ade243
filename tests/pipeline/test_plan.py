"""The plan against what a build of the demonstration noted: who read what."""

import sqlite3
from contextlib import closing

from kilnfolio.pipeline.plan import PLAN

READS = """
SELECT reader.value, reader.key, cell.name, made.value, made.key
FROM read JOIN task AS reader ON reader.id = read.task JOIN cell ON cell.id = read.cell
LEFT JOIN task AS made ON made.id = cell.task
"""
STEPS = (*PLAN.inputs, *PLAN.rest)
PLACE = {value.name: n for n, step in enumerate(STEPS) for value in step}
FILLERS = {}
for value in PLAN.values.values():
    for group in value.fills:
        FILLERS.setdefault(group.name, []).append(value.name)


def reads(site):
    """Return who read what: value, key, whether that chose its keys, cell, value and key of it."""
    with closing(sqlite3.connect(f"file:{site}/.staging/store.sqlite?mode=ro", uri=True)) as db:
        found = db.execute(READS).fetchall()
    return [
        (value.removeprefix("keys of "), key, value.startswith("keys of "), cell, *made)
        for value, key, cell, *made in found
    ]


def test_a_value_reads_nothing_that_is_computed_beside_or_after_it(demo_site):
    """Except earlier values of its own key: those of a key are computed in one process."""
    found = reads(demo_site)
    assert {value for value, *_ in found} == PLACE.keys()
    for value, key, choosing, cell, made, of in found:
        if cell.startswith("group:"):
            for filler in FILLERS[cell.split(":")[1]]:
                assert PLACE[filler] < PLACE[value], (value, cell)
        elif made is not None:
            same = not choosing and of == key and PLACE[made] == PLACE[value]
            assert PLACE[made] < PLACE[value] or same, (value, key, cell)


def test_only_values_of_this_computer_read_its_keys(demo_site):
    private = tuple(
        f"{kind}:{folder}" for kind in ("file", "tree") for folder in PLAN.index.private
    )
    readers = {
        value
        for value, _, choosing, cell, *_ in reads(demo_site)
        if cell.startswith(private) and not choosing
    }
    assert readers
    assert all(PLAN.values[name].at_home for name in readers)
