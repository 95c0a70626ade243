"""Values computed elsewhere: the same as here, whatever a worker loses, and nothing taken on trust.

The workers are of this process, and have nothing but what they were sent.
"""

from concurrent.futures import Future

import pytest

from kilnfolio.graph import away
from kilnfolio.graph.away import AwayTeam
from kilnfolio.graph.derived import Group, NotMadeError, derived
from kilnfolio.graph.disk import DiskGraph
from kilnfolio.graph.inputs import Index, note_changes, stamps
from kilnfolio.graph.plan import Plan
from kilnfolio.graph.run import Run
from kilnfolio.graph.store import Store
from kilnfolio.graph.tree import Tree
from kilnfolio.runtime.errors import WorkersUnreachableError

long_words = Group("long words")
BAD = "bad"


class BadWordError(NotMadeError):
    def __init__(self, word):
        super().__init__(word)
        self.reasons = (f"{word} is no word",)


@derived("word", keys=lambda graph: graph.names("word"), batch=1, fills=(long_words,))
def word(graph, name):
    text = graph.file(f"words/{name}.txt").read_text()
    if text == BAD:
        raise BadWordError(name)
    if len(text) > 3:
        graph.join(long_words, "", name)
    return text


@derived("secret", keys=lambda graph: graph.names("word"), batch=1, at_home=True)
def secret(graph, name):
    return graph.file(f"private/{name}.txt").read_text()


@derived("poster", keys=lambda graph: graph.names("word"), batch=1, keep_none=False)
def poster(graph, name):
    graph.write(f"all/{name}.txt", f"{word(graph, name)} {long_words(graph)} {secret(graph, name)}")


INDEX = Index(
    ("words", "private"),
    (),
    lambda path: ("word", path.split("/")[1][:-4]) if path.startswith("words/") else None,
    private=("private",),
)
PLAN = Plan("tests.graph.test_away:PLAN", INDEX, inputs=((word,),), rest=((secret,), (poster,)))
WORDS = ("air", "kiln", "board", "wet", "dry", "stack")


class Workers:
    """One worker, whose answers are turned into text and back; `change` may falsify them."""

    count = 1

    def __init__(self, change=lambda answer: answer):
        self.asked, self.sent, self.change, self.loses = 0, [], change, ()

    def submit(self, fn, /, *args):
        self.asked += 1
        if self.asked in self.loses:
            away.forget(args[0])
        answer, done = fn(*args), Future()
        if answer is not None:  # as it arrives: tuples become lists
            answer = self.change(
                [{**one, "joined": [*map(list, one.get("joined", ()))]} for one in answer]
            )
        done.set_result(answer)
        return done

    def everywhere(self, fn, *args, only=""):
        assert only in ("", "w")
        if fn is away.keep:
            self.sent += args[-1]
        return {"w": fn(*args)}


@pytest.fixture
def folder(tmp_path):
    for name in WORDS:
        for place in ("words", "private"):
            path = tmp_path / "in" / place / f"{name}.txt"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(f"{name}" if place == "words" else f"key of {name}")
    return tmp_path / "in"


def build(folder, out, workers=None):
    """Build; return the problems and the files."""
    out.mkdir()
    store = Store(out / ".staging/store.sqlite")
    note_changes(store, folder, INDEX, stamps(folder, INDEX))
    store.set_input("code:all", b"one")
    tree, team = Tree(out, store, ("all",)), workers and AwayTeam(workers, PLAN, folder, ("all",))
    run = Run(
        DiskGraph(folder, INDEX, out, store),
        tree,
        PLAN,
        "",
        lambda at_home: None if at_home else team,
        lambda: None,
        lambda *_: None,
        lambda *_: "",
    )
    problems = run.all()
    if not problems:
        tree.publish()
    if team:
        team.close()
    store.close()
    return problems, {path.name: path.read_text() for path in (out / "all").glob("*.txt")}


def test_workers_elsewhere_write_the_same(folder, tmp_path):
    workers = Workers()
    assert build(folder, tmp_path / "there", workers) == build(folder, tmp_path / "here")
    assert workers.asked == 2 * len(WORDS)
    assert not away._COPIES


def test_until_workers_are_ready_this_process_does_their_work(folder, tmp_path, monkeypatch):
    asked = iter([False] * 4)  # ready from the fifth batch on
    monkeypatch.setattr(AwayTeam, "ready", property(lambda _: next(asked, True)))
    workers = Workers()
    assert build(folder, tmp_path / "there", workers) == build(folder, tmp_path / "here")
    assert workers.asked == 2 * len(WORDS) - 4


def test_this_process_computes_beside_a_team(folder, tmp_path, monkeypatch):
    """Until something comes from the team; problems are told in the order of their keys."""
    (folder / "words/wet.txt").write_text(BAD)
    (folder / "words/air.txt").write_text(BAD)
    here = build(folder, tmp_path / "here")
    looks, compute = iter([False] * 4), AwayTeam.compute

    def slowly(*args):
        return away._Asked(lambda: next(looks, True), compute(*args).result)

    monkeypatch.setattr(AwayTeam, "beside_us", True)
    monkeypatch.setattr(AwayTeam, "compute", slowly)
    workers = Workers()
    assert build(folder, tmp_path / "there", workers) == here
    assert here[0] == ("air is no word", "wet is no word")
    assert workers.asked == 5


@pytest.mark.parametrize("loses", [(1,), (4,), (9, 11)])
def test_a_worker_that_begins_anew_gets_everything(folder, tmp_path, loses):
    workers = Workers()
    workers.loses = loses
    assert build(folder, tmp_path / "there", workers) == build(folder, tmp_path / "here")
    assert workers.asked > 2 * len(WORDS)


def test_a_worker_that_begins_anew_for_ever_is_given_up(folder, tmp_path):
    workers = Workers()
    workers.loses = range(100)
    with pytest.raises(WorkersUnreachableError, match="again and again"):
        build(folder, tmp_path / "there", workers)


def test_problems_arrive_as_they_are(folder, tmp_path):
    for name in ("wet", "kiln"):
        (folder / f"words/{name}.txt").write_text(BAD)
    here = build(folder, tmp_path / "here")
    assert build(folder, tmp_path / "there", Workers()) == here
    assert here[0] == ("kiln is no word", "wet is no word")


def test_nothing_private_is_sent(folder, tmp_path):
    workers = Workers()
    build(folder, tmp_path / "there", workers)
    assert "input:words/kiln.txt" in workers.sent
    assert not [name for name in workers.sent if name.startswith("input:private")]


def test_a_value_that_reads_what_is_private_is_refused_elsewhere(folder, tmp_path, monkeypatch):
    monkeypatch.setattr("kilnfolio.graph.run.any", lambda _: False, raising=False)
    with pytest.raises(RuntimeError, match="mark what reads it 'at_home'"):
        build(folder, tmp_path / "there", Workers())


FALSE = {
    "another value": {"value": "secret"},
    "another key": {"key": "door"},
    "a cell of another": {"cells": {"code:all": b"two"}},
    "a group that it does not fill": {"joined": [["group:other:", "a", "a"]]},
    "a file elsewhere": {"files": {"../words/kiln.txt": b"mine"}},
    "a file above": {"files": {"all/../../words/kiln.txt": b"mine"}},
    "an absolute path": {"files": {"/tmp/kiln.txt": b"mine"}},
    "no bytes": {"files": {"all/kiln.txt": 3}},
    "no list": {"joined": 3},
    "reasons that are no data": {"reasons": b"\x80\x04."},
}


@pytest.mark.parametrize("what", FALSE)
def test_what_nobody_asked_for_is_refused(folder, tmp_path, what):
    def falsify(answer):
        return [one | FALSE[what] for one in answer]

    with pytest.raises(WorkersUnreachableError, match="not asked for"):
        build(folder, tmp_path / "there", Workers(falsify))
    assert (folder / "words/kiln.txt").read_text() == "kiln"
