"""How the tasks of a step are divided among processes."""

import pytest

from kilnfolio.graph.derived import Derived
from kilnfolio.graph.sharing import Shares

STEP = (
    Derived("long", lambda *_: None, batch=2),
    Derived("short", lambda *_: None, batch=50),
)
TASKS = [(f"{n:03}", ("short",)) for n in range(400)] + [(f"L{n:02}", ("long",)) for n in range(20)]


def handed_out(turns, processes=2):
    """Return the batches taken from the first and from the last, by turns."""
    shares, taken = Shares(TASKS, STEP), ([], [])
    assert shares.work == pytest.approx(400 / 50 + 20 / 2)
    turn = 0
    while shares:
        last = turns[turn % len(turns)]
        taken[last].append((shares.last if last else shares.first)(processes))
        turn += 1
    assert shares.work == pytest.approx(0, abs=1e-9)
    return taken


@pytest.mark.parametrize("turns", [(0, 1), (1, 0, 1), (0,), (1,)])
def test_every_task_is_handed_out_once(turns):
    first, last = handed_out(turns)
    assert sorted(task for batch in first + last for task in batch) == sorted(TASKS)


def test_each_has_an_end_of_every_kind_to_itself():
    first, last = handed_out((0, 1))
    for kind in ("long", "short"):
        mine, theirs = (
            [key for batch in side for key, names in batch if names == (kind,)]
            for side in (first, last)
        )
        assert max(mine) < min(theirs)
        assert len(mine) == pytest.approx(len(theirs), abs=len(mine) / 4)


def test_long_tasks_come_first_and_the_last_batches_are_small():
    first, last = handed_out((0, 1))
    assert first[0][0][1] == last[0][0][1] == ("long",)
    for side in (first, last):
        assert len(side[-1]) / 50 < 0.2


def test_a_batch_is_in_the_order_of_its_keys():
    first, last = handed_out((0, 1))
    for batch in first + last:
        for kind in ("long", "short"):
            keys = [key for key, names in batch if names == (kind,)]
            assert keys == sorted(keys)
