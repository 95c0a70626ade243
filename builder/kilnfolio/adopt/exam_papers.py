"""Publishes exam papers in the mill edition, and releases their keys."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

from kilnfolio.adopt.record_file import decoded, replace_files
from kilnfolio.adopt.record_text import RecordText
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.runtime.files import read_file
from kilnfolio.training.exams import EXAMS, parse_exams
from kilnfolio.training.lessons import Lesson

_EMPTY = (
    "# Exam papers in the mill edition. A key is in it once it is released.\nformat: 1\nexams: []\n"
)


def publish(root: Path, lesson: Lesson, seed: int, lessons: Sequence[Lesson]) -> None:
    """Add a paper to the mill edition, without its key.

    Raises
    ------
    RecordProblems
        It is published already, or the file has problems; nothing is written.
    """
    record, before = _opened(root)
    papers = parse_exams(record.text.encode(), lessons)
    record.insert(("exams",), len(papers), {"path": lesson.id, "seed": seed})
    _replace(root, record, before, lessons, f"exam {lesson.id}, seed {seed}, published")


def release(
    root: Path, lesson: Lesson, seed: int, lessons: Sequence[Lesson], *, by: str, on: dt.date
) -> None:
    """Release the key of a published paper.

    Raises
    ------
    RecordProblems
        The paper is not published, or its key is released already; nothing is written.
    """
    record, before = _opened(root)
    papers = parse_exams(record.text.encode(), lessons)
    found = [place for place, one in enumerate(papers) if (one.path, one.seed) == (lesson.id, seed)]
    if not found:
        raise _refusal(
            f"the paper {lesson.id}, seed {seed}",
            "it is not in the mill edition, so it has no key there to release",
            f"Publish it: kilnfolio exam {lesson.id} --seed {seed} --publish",
        )
    already = papers[found[0]].released
    if already:
        raise _refusal(
            f"the key of {lesson.id}, seed {seed}",
            f"{already.by} released it on {already.on}",
            "Build the site, if the key is not on it yet",
        )
    record.put(("exams", found[0], "released"), {"by": by, "on": on.isoformat()})
    _replace(root, record, before, lessons, f"key of exam {lesson.id}, seed {seed}, released")


def _opened(root: Path) -> tuple[RecordText, bytes | None]:
    """Return the file to write into, and what it holds now; None if there is none yet."""
    before = read_file(root / EXAMS) if (root / EXAMS).is_file() else None
    return RecordText(decoded(before or _EMPTY.encode(), EXAMS), EXAMS), before


def _replace(
    root: Path, record: RecordText, before: bytes | None, lessons: Sequence[Lesson], words: str
) -> None:
    after = record.text.encode()
    parse_exams(after, lessons)  # read back before it replaces the old file
    replace_files(root, {EXAMS: after}, {EXAMS: before}, words)


def _refusal(what: str, why: str, instead: str) -> RecordProblems:
    return RecordProblems([Problem(Place(EXAMS), what, why, instead)])
