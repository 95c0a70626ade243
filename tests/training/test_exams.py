"""Published exam papers: no edition holds an answer before the trainer releases the key."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from tests.handbook.chapters import FRONT, NAME
from tests.minimal import minimal_mill

from kilnfolio.cli import main
from kilnfolio.handbook.chapter import read_manuscript
from kilnfolio.handbook.pages import plain_words
from kilnfolio.records.folder import open_mill
from kilnfolio.records.problems import RecordProblems
from kilnfolio.training.exams import EXAMS, parse_exams, read_exams
from kilnfolio.training.lessons import Paper, exam, read_lessons

LESSONS = """format: 1
paths:
  - id: operator-day
    title: A day for operators
    who: operator
    length: one day
    outcomes: [Work out an MC.]
    reading: [small]
    demonstration: Weigh a section.
    exercises: [section-mc, water-out-of-a-load, least-heat-for-a-load]
    test: {problems: 4, minutes: 30, pass_marks: 60}
"""


@pytest.fixture
def mill(tmp_path: Path) -> Path:
    files = {
        NAME: FRONT + "## A section {#section}\n\nWeigh the boards.\n",
        "content/handbook/lessons.yaml": LESSONS,
    }
    return minimal_mill(tmp_path / "mill", files=files)


def run(mill: Path, *options: str) -> int:
    return main(["exam", "operator-day", str(mill), *options])


def paper_of(mill: Path, seed: int) -> Paper:
    folder = open_mill(mill)
    (lesson,) = read_lessons(mill, read_manuscript(mill)[0])
    return exam(folder, lesson, seed)


def build(mill: Path) -> Path:
    assert main(["build", str(mill), "--without-pdf", "--quiet"]) == 0
    return mill / "site"


def files_with(site: Path, paper: Paper) -> dict[str, set[str]]:
    """Return the files of all editions that hold a worked answer, or its words, by problem."""
    held: dict[str, set[str]] = {}
    for path in sorted(site.rglob("*")):
        if not path.is_file() or ".staging" in path.parts:
            continue
        text = path.read_bytes().decode("utf-8", "replace")
        words = plain_words(text)
        for question in paper.questions:
            answer = str(question.exercise.answer)
            if answer in text or plain_words(answer) in words:
                held.setdefault(path.relative_to(site).as_posix(), set()).add(
                    question.exercise.kind.slug
                )
    return held


def test_the_edition_holds_the_paper_at_once_and_the_key_only_after_its_release(mill):
    for seed in (3, 4):
        assert run(mill, "--seed", str(seed), "--publish") == 0
    papers = {seed: paper_of(mill, seed) for seed in (3, 4)}
    site = build(mill)
    for seed, paper in papers.items():
        page = (site / f"mill/exams/operator-day-{seed}.html").read_text("utf-8")
        assert all(str(question.exercise.ask) in page for question in paper.questions)
        for question in paper.questions:
            result = list(question.exercise.board.results.values())[-1].text
            if result not in plain_words(question.exercise.ask):
                assert result not in plain_words(page), question.exercise.kind.slug
        assert files_with(site, paper) == {}
        assert not (site / f"mill/exams/operator-day-{seed}-key.html").exists()
    assert "its key is not released" in (site / "mill/lessons.html").read_text("utf-8")

    assert run(mill, "--seed", "3", "--release", "--by", "A. Trainer") == 0
    site = build(mill)
    held = files_with(site, papers[3])
    assert held == {
        "mill/exams/operator-day-3-key.html": {
            question.exercise.kind.slug for question in papers[3].questions
        }
    }
    assert files_with(site, papers[4]) == {}
    key = (site / "mill/exams/operator-day-3-key.html").read_text("utf-8")
    assert "Released by A. Trainer on" in plain_words(key)


def test_a_release_names_who_and_when_and_happens_once(mill, capsys):
    assert run(mill, "--seed", "3", "--release", "--by", "A. Trainer") == 2
    assert "--publish" in capsys.readouterr().err
    assert run(mill, "--seed", "3", "--publish") == 0
    assert run(mill, "--seed", "3", "--publish") == 2
    assert "listed twice" in capsys.readouterr().err
    assert run(mill, "--seed", "3", "--release", "--by", "A. Trainer") == 0
    assert run(mill, "--seed", "3", "--release", "--by", "B. Trainer") == 2
    assert "A. Trainer released it on" in capsys.readouterr().err
    (one,) = read_exams(mill, read_lessons(mill, read_manuscript(mill)[0]))
    assert (one.path, one.seed, one.released.by) == ("operator-day", 3, "A. Trainer")
    assert abs(one.released.on - dt.datetime.now(dt.UTC).date()) <= dt.timedelta(days=1)


def test_comments_in_the_file_stay_and_undo_takes_a_release_back(mill):
    assert run(mill, "--seed", "3", "--publish") == 0
    file = mill / EXAMS
    file.write_text(file.read_text("utf-8") + "  # the spring class\n", "utf-8")
    before = file.read_text("utf-8")
    assert run(mill, "--seed", "3", "--release", "--by", "A. Trainer") == 0
    assert "# the spring class" in file.read_text("utf-8")
    assert main(["undo", str(mill)]) == 0
    assert file.read_text("utf-8") == before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("format: 1\nexams:\n  - {path: operator-dya, seed: 1}\n", "there is no lesson path"),
        ("format: 1\nexams:\n  - {path: operator-day, seed: -1}\n", "seed"),
        ("format: 1\nexams:\n  - {path: operator-day, seed: 1, released: yes}\n", "released"),
        ("format: 1\nexams:\n  - {path: operator-day, seed: 1, released: {by: A}}\n", "on"),
        ("format: 1\nexams:\n  - {path: operator-day}\n", "seed"),
    ],
)
def test_a_mistake_in_the_file_is_reported_at_its_line(mill, text, said):
    lessons = read_lessons(mill, read_manuscript(mill)[0])
    with pytest.raises(RecordProblems) as refused:
        parse_exams(text.encode(), lessons)
    assert any(f"{EXAMS}:3" in str(one) and said in str(one) for one in refused.value.problems)
