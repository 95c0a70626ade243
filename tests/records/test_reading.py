"""A graph in memory reads only the charges that may be in a group, and finds the same ones."""

import pytest
from tests.conftest import PROJECT

from kilnfolio.records import reading
from kilnfolio.records.folder import open_mill
from kilnfolio.records.model import Located
from kilnfolio.records.open_charge import may_be_open

WRITTEN = b"charge: C1\nended: 2026-03-05 10:00\nunloaded: '2026-03-06 08:00'\nnotes: none\n"


@pytest.fixture(scope="module")
def groups():
    """The charges under each key, and the open ones, after every charge is read."""
    graph = open_mill(PROJECT).graph
    read = [reading.charge(graph, number) for number in sorted(graph.names("charge"))]
    complete = [one.record for one in read if isinstance(one, Located)]
    keys = {key for record in complete for key in reading.groups_of_charge(record)}
    found = {
        key: {record.id for record in complete if key in reading.groups_of_charge(record)}
        for key in keys
    }
    return found, {one.id for one in read if not isinstance(one, Located)}


@pytest.mark.parametrize("kind", ["kiln:", "schedule:", "species:", "quarter:", ""])
def test_groups_hold_the_charges_that_say_so(groups, kind):
    graph = open_mill(PROJECT).graph
    keys = [key for key in groups[0] if (key.startswith(kind) if kind else key == reading.ALL)]
    assert keys
    for key in keys:
        assert set(reading.charges(graph, key)) == groups[0][key]
    assert reading.charges(graph, f"{kind}nothing of the kind") == ()


def test_open_charges_are_found_without_reading_the_others(groups, monkeypatch):
    mill, read = open_mill(PROJECT), []
    whole = reading.read_charge
    monkeypatch.setattr(reading, "read_charge", lambda *given: read.append(given) or whole(*given))
    assert set(reading.open_charges(mill.graph)) == groups[1] != set()
    assert len(read) == len(groups[1])


def test_a_charge_without_both_times_at_its_end_may_be_open():
    assert not may_be_open(WRITTEN)
    assert not may_be_open(WRITTEN.replace(b"\n", b"\r\n"))
    for without in (
        WRITTEN.replace(b"ended", b"begun"),
        WRITTEN.replace(b"2026-03-05 10:00", b"..."),
        WRITTEN.replace(b"'2026-03-06 08:00'", b""),
        WRITTEN.replace(b"ended", b"# ended"),
        WRITTEN.replace(b"unloaded", b"  unloaded"),
        b"",
    ):
        assert may_be_open(without)
