"""kilnfolio exam: print the test of a lesson path and, separately, its key; publish and release."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder, add_seed
from kilnfolio.cli.errors import ERROR, OK

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from kilnfolio.records.folder import MillFolder
    from kilnfolio.training.lessons import Lesson

DESCRIPTION = (
    "Print the test of a lesson path as one PDF and its answers as another. The same "
    "path and seed give the same paper; another seed gives other numbers. --publish puts the "
    "paper into the mill edition without its key; --release adds the key."
)
EXAMPLE = "kilnfolio exam operator-day --seed 3"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("path", help="the lesson path, as in operator-day")
    add_folder(parser)
    add_seed(parser, "the numbers")
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.pdf",
        help="the paper to write (default: exam-PATH-SEED.pdf; the key beside it)",
    )
    step = parser.add_mutually_exclusive_group()
    step.add_argument(
        "--publish",
        action="store_true",
        help="print nothing; the next build puts the paper into the mill edition, without its key",
    )
    step.add_argument(
        "--release",
        action="store_true",
        help="print nothing; the next build puts the key of a published paper into the mill edition",
    )
    parser.add_argument(
        "--by", help="who releases it (default: the last one named, or KILNFOLIO_BY)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print the paper and its key, publish the paper, or release the key."""
    from kilnfolio.handbook.chapter import read_manuscript
    from kilnfolio.records.folder import open_mill
    from kilnfolio.training.lessons import read_lessons

    folder = open_mill(arguments.folder)
    lessons = {
        lesson.id: lesson for lesson in read_lessons(folder.root, read_manuscript(folder.root)[0])
    }
    if arguments.path not in lessons:
        known = ", ".join(lessons) or "none"
        print(
            f"kilnfolio: there is no lesson path '{arguments.path}'. Known ones: {known}",
            file=sys.stderr,
        )
        return ERROR
    lesson = lessons[arguments.path]
    if arguments.publish or arguments.release:
        return _change(arguments, folder, lesson, list(lessons.values()))
    return _print(arguments, folder, lesson)


def _change(
    arguments: argparse.Namespace, folder: MillFolder, lesson: Lesson, lessons: list[Lesson]
) -> int:
    import datetime as dt

    from kilnfolio.adopt import exam_papers
    from kilnfolio.adopt.entry.commands import person

    seed = arguments.seed
    if arguments.publish:
        exam_papers.publish(folder.root, lesson, seed, lessons)
        print(
            f"exam of {lesson.id}, seed {seed}: the next build puts it into the mill edition, "
            f"without its key. Release the key after the test: "
            f"kilnfolio exam {lesson.id} --seed {seed} --release"
        )
        return OK
    by = person(folder.root, arguments.by)
    on = dt.datetime.now(folder.mill.record.zone).date()
    exam_papers.release(folder.root, lesson, seed, lessons, by=by, on=on)
    print(f"key of {lesson.id}, seed {seed}, released by {by}: the next build puts it on the site")
    return OK


def _print(arguments: argparse.Namespace, folder: MillFolder, lesson: Lesson) -> int:
    from kilnfolio.paper.exam import exam_html
    from kilnfolio.paper.printing import pdf_of
    from kilnfolio.rendering.templating import environment
    from kilnfolio.runtime.files import write_whole
    from kilnfolio.site.house import house
    from kilnfolio.training.lessons import exam

    out = arguments.out or Path(f"exam-{lesson.id}-{arguments.seed}.pdf")
    key = out.with_name(f"{out.stem}-key.pdf")
    paper = exam(folder, lesson, arguments.seed)
    env = environment(
        folder.mill.record,
        tag=folder.mill.record.language,
        own=house(folder.graph).of("mill", folder.mill.record.language),
    )
    for path, answers in ((out, False), (key, True)):
        pdf, warnings = pdf_of(exam_html(paper, env, answers=answers))
        write_whole(path, pdf)
        for warning in warnings:
            print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    print(
        f"exam of {lesson.id}, seed {arguments.seed}, {paper.marks} marks, in {out}; "
        f"its key in {key}"
    )
    return OK
