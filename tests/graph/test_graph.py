"""Derived values: computed once, only when asked for, and again only where something changed.

The files are words and numbers of our own; nothing here knows timber.
"""

from __future__ import annotations

import random
import sqlite3

import pytest

from kilnfolio.graph.derived import (
    AbsentError,
    BlockedError,
    Derived,
    Group,
    NotMadeError,
    NoValueError,
    derived,
    inline,
    table,
)
from kilnfolio.graph.disk import DiskGraph
from kilnfolio.graph.inputs import Index, note_changes, stamps
from kilnfolio.graph.kept import Kept
from kilnfolio.graph.memory import MemoryGraph
from kilnfolio.graph.plan import Plan
from kilnfolio.graph.run import Run
from kilnfolio.graph.store import Store
from kilnfolio.graph.tree import Tree

INDEX = Index(("numbers",), ("numbers",), lambda path: ("number", path.split("/")[1][:-4]))
RAN: list[str] = []


class BadNumberError(NotMadeError):
    """A file holds no number."""

    def __init__(self, reason):
        super().__init__(reason)
        self.reasons = (reason,)


parity = Group("parity")
parity_of_own = Group("parity of own", lambda _, name, key: name.startswith(key))


@inline("raw")
def raw(graph, name):
    RAN.append(f"raw {name}")
    paths = graph.paths("number", name)
    if not paths:
        raise NoValueError(name)
    path, proposed = graph.file(paths[0]), graph.proposed(paths[0])
    return (path.read_bytes() if proposed is None else proposed).decode().strip()


@derived("number", keys=lambda graph: graph.names("number"), fills=(parity, parity_of_own))
def number(graph, name):
    text = raw(graph, name)
    if not text.isdigit():
        raise BadNumberError(f"{name}: '{text}' is no number")
    RAN.append(f"number {name}")
    graph.join(parity, "even" if int(text) % 2 == 0 else "odd", name)
    graph.join(parity_of_own, name[:1], name)
    return int(text)


@derived("half", keys=lambda graph: graph.names("number"))
def half(graph, name):
    RAN.append(f"half {name}")
    return number(graph, name) // 2


@table("halves")
def halves(graph, _):
    return {name: half(graph, name) for name in graph.names("number")}


@derived("page", keys=lambda graph: graph.names("number"), keep_none=False)
def page(graph, name):
    RAN.append(f"page {name}")
    graph.write(f"all/{name}.txt", f"half is {halves.entry(graph, name)}")


@derived("evens")
def evens(graph, _):
    RAN.append("evens")
    return parity(graph, "even")


PLAN = Plan(
    "tests.graph.test_graph:PLAN",
    INDEX,
    inputs=((number,), (half,), (halves,)),
    rest=((evens,), (page,)),
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "in/numbers").mkdir(parents=True)
    for name, value in (("a", "4"), ("b", "7"), ("c", "10")):
        write(tmp_path / "in", name, value)
    RAN.clear()
    return tmp_path / "in"


def write(folder, name, value):
    (folder / f"numbers/{name}.txt").write_text(value)


def in_memory(folder):
    return MemoryGraph(folder, INDEX)


def build(folder, out):
    """Bring a graph on disk up to date; return the run and what it computed."""
    out.mkdir(exist_ok=True)
    RAN.clear()
    store = Store(out / ".staging/store.sqlite")
    note_changes(store, folder, INDEX, stamps(folder, INDEX))
    store.set_input("code:all", b"one")
    tree = Tree(out, store, ("all",))
    run = Run(
        DiskGraph(folder, INDEX, out, store),
        tree,
        PLAN,
        "",
        lambda _: None,
        lambda: None,
        lambda *_: None,
        lambda *_: "",
    )
    reasons = run.all()
    if not reasons:
        tree.publish()
    store.close()
    return reasons, sorted(RAN)


def test_in_memory_values_are_computed_on_demand_and_once(folder):
    graph = in_memory(folder)
    assert half(graph, "a") == 2
    assert half(graph, "a") == 2
    assert RAN == ["half a", "raw a", "number a"]


def test_a_group_computes_only_values_that_may_belong_to_it(folder):
    graph = in_memory(folder)
    assert parity_of_own(graph, "a") == ("a",)
    assert "number b" not in RAN
    assert parity(graph, "even") == ("a", "c")
    assert parity(graph, "even", newest_first=True) == ("c", "a")


def test_missing_values_are_absent_and_failures_block_their_readers(folder):
    write(folder, "b", "seven")
    graph = in_memory(folder)
    assert not number.exists(graph, "z")
    with pytest.raises(AbsentError):
        number(graph, "z")
    assert number.exists(graph, "b")
    with pytest.raises(BlockedError):
        half(graph, "b")
    assert graph.failures(((number,), (half,))) == ("b: 'seven' is no number",)
    assert parity(graph, "odd") == ()


def test_a_changed_file_invalidates_what_read_it(folder):
    graph = in_memory(folder)
    assert (half(graph, "a"), evens(graph)) == (2, ("a", "c"))
    write(folder, "a", "13")
    assert graph.refresh()
    assert (half(graph, "a"), evens(graph)) == (6, ("c",))
    write(folder, "d", "20")
    assert graph.refresh()
    assert evens(graph) == ("c", "d")
    assert not graph.refresh()


def test_a_proposed_text_replaces_the_file(folder):
    graph = MemoryGraph(folder, INDEX, proposed={"numbers/a.txt": b"8"})
    assert graph.proposed("numbers/a.txt") == b"8"
    assert graph.proposed("numbers/b.txt") is None
    assert (half(graph, "a"), evens(graph)) == (4, ("a", "c"))
    # one text after the other: what joined a group before, and what joins it now
    graph.propose("numbers/a.txt", b"13")
    assert (half(graph, "a"), evens(graph)) == (6, ("c",))
    graph.propose("numbers/b.txt", b"8")
    assert evens(graph) == ("b", "c")


def test_a_circular_value_is_refused(folder):
    values = {}
    values["x"] = Derived("x", lambda graph, key: values["x"](graph, key))
    with pytest.raises(RuntimeError, match=r"needs itself: x:1 → x:1"):
        values["x"](in_memory(folder), "1")


def test_a_value_joins_only_groups_it_is_registered_to_fill(folder):
    value = Derived("y", lambda graph, _: graph.join(parity, "odd", "y"))
    with pytest.raises(RuntimeError, match="name its group in 'fills'"):
        value(in_memory(folder), "")


def test_an_inline_value_reads_no_group(folder):
    value = inline("z")(lambda graph, _: parity(graph, "even"))
    with pytest.raises(RuntimeError, match="reads a group"):
        value(in_memory(folder), "")


def test_a_bound_function_stands_in_for_an_inline_value(folder):
    graph = MemoryGraph(folder, INDEX, bound={"raw": lambda *_: "100"})
    assert half(graph, "a") == 50


def test_disk_and_memory_give_the_same(folder, tmp_path):
    reasons, _ = build(folder, tmp_path / "out")
    assert reasons == ()
    graph = in_memory(folder)
    for name in "abc":
        text = (tmp_path / f"out/all/{name}.txt").read_text()
        assert text == f"half is {half(graph, name)}"


def test_a_change_reruns_its_readers_and_stops_where_nothing_differs(folder, tmp_path):
    build(folder, tmp_path / "out")
    assert build(folder, tmp_path / "out") == ((), [])
    write(folder, "a", "5")  # the half stays 2, the parity changes
    _, ran = build(folder, tmp_path / "out")
    assert ran == ["evens", "half a", "number a", "raw a"]
    write(folder, "b", "9")  # the half changes, so does its page, and no other page
    _, ran = build(folder, tmp_path / "out")
    assert ran == ["half b", "number b", "page b", "raw b"]
    assert (tmp_path / "out/all/b.txt").read_text() == "half is 4"


def test_added_pages_are_made_and_removed_ones_deleted(folder, tmp_path):
    build(folder, tmp_path / "out")
    write(folder, "d", "6")
    (folder / "numbers/a.txt").unlink()
    build(folder, tmp_path / "out")
    assert sorted(path.name for path in (tmp_path / "out/all").iterdir()) == [
        "b.txt",
        "c.txt",
        "d.txt",
    ]


def test_all_failures_are_reported_and_the_site_is_kept(folder, tmp_path):
    build(folder, tmp_path / "out")
    write(folder, "a", "x")
    write(folder, "c", "y")
    reasons, ran = build(folder, tmp_path / "out")
    assert reasons == ("a: 'x' is no number", "c: 'y' is no number")
    assert reasons == in_memory(folder).failures(PLAN.inputs)
    assert not [one for one in ran if one.startswith(("page", "evens"))]
    assert (tmp_path / "out/all/a.txt").read_text() == "half is 2"
    write(folder, "a", "4")
    write(folder, "c", "10")
    assert build(folder, tmp_path / "out")[0] == ()


# --- in memory, on what a build has kept ----------------------------------------------------------


def on_kept(folder, out, *, holds=True, proposed=None):
    RAN.clear()
    kept = Kept(out / ".staging/store.sqlite", lambda _: holds, (), INDEX)
    return MemoryGraph(folder, INDEX, proposed=proposed, kept=kept)


def everything(graph):
    """Return all that a graph has to say, failures and absences included."""

    def ask(value, name):
        try:
            return value(graph, name)
        except (AbsentError, BlockedError) as error:
            return type(error).__name__

    return (
        {name: (ask(number, name), ask(half, name)) for name in "abcd"},
        [parity(graph, key) for key in ("even", "odd")],
        [parity_of_own(graph, key) for key in "abcd"],
        ask(evens, ""),
    )


def test_in_memory_values_come_from_the_last_build(folder, tmp_path):
    build(folder, tmp_path / "out")
    graph = on_kept(folder, tmp_path / "out")
    assert everything(graph) == everything(in_memory(folder))
    assert everything(on_kept(folder, tmp_path / "out"))
    assert not {one for one in RAN if "d" not in one}  # there is no d


def test_values_that_rest_on_a_changed_file_are_computed_again(folder, tmp_path):
    build(folder, tmp_path / "out")
    write(folder, "b", "12")
    graph = on_kept(folder, tmp_path / "out")
    assert evens(graph) == ("a", "b", "c")
    assert half(graph, "b") == 6
    assert half(graph, "a") == 2
    assert RAN == ["evens", "raw b", "number b", "half b"]


def test_a_proposed_text_takes_precedence_over_a_kept_value(folder, tmp_path):
    build(folder, tmp_path / "out")
    graph = on_kept(folder, tmp_path / "out")
    assert half(graph, "a") == 2
    graph.propose("numbers/a.txt", b"8")
    half(graph, "a")
    assert "half a" in RAN


@pytest.mark.parametrize("spoil", ["settings", "no store", "no table", "no database"])
def test_an_unusable_store_means_everything_is_computed(folder, tmp_path, spoil):
    build(folder, tmp_path / "out")
    store = tmp_path / "out/.staging/store.sqlite"
    if spoil == "no store":
        store.unlink()
    elif spoil == "no table":
        with sqlite3.connect(store) as db:
            db.execute("DROP TABLE read")
    elif spoil == "no database":
        store.write_bytes(b"no database")
    graph = on_kept(folder, tmp_path / "out", holds=spoil != "settings")
    assert half(graph, "a") == 2
    assert RAN == ["half a", "raw a", "number a"]


def test_a_kept_value_that_cannot_be_read_is_computed_again(folder, tmp_path):
    build(folder, tmp_path / "out")
    with sqlite3.connect(tmp_path / "out/.staging/store.sqlite") as db:
        db.execute("UPDATE cell SET value = x'00' WHERE name = 'half:a'")
    assert half(on_kept(folder, tmp_path / "out"), "a") == 2


@pytest.mark.parametrize("seed", range(12))
def test_after_random_changes_the_answers_are_the_same_with_and_without_a_build(
    folder, tmp_path, seed
):
    dice = random.Random(seed)
    build(folder, tmp_path / "out")
    for _ in range(6):
        name = dice.choice("abcd")
        if dice.random() < 0.3:
            (folder / f"numbers/{name}.txt").unlink(missing_ok=True)
        else:
            write(folder, name, str(dice.choice(["none", 3, 4, 10, 1000])))
        assert everything(on_kept(folder, tmp_path / "out")) == everything(in_memory(folder))
        if dice.random() < 0.3:
            build(folder, tmp_path / "out")
