"""kilnfolio exam: print the test of a lesson path and, separately, its key."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder, add_seed
from kilnfolio.cli.errors import ERROR, OK

SUMMARY = "print an exam and, separately, its key"
DESCRIPTION = (
    "Print the test of a lesson path as one PDF and its answers as another. The same "
    "path and seed give the same paper; another seed gives other numbers."
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


def run(arguments: argparse.Namespace) -> int:
    """Print the paper and its key."""
    from kilnfolio.handbook.chapter import read_manuscript
    from kilnfolio.paper.exam import exam_html
    from kilnfolio.paper.printing import pdf_of
    from kilnfolio.records.folder import open_mill
    from kilnfolio.rendering.templating import environment
    from kilnfolio.runtime.files import write_whole
    from kilnfolio.site.house import house
    from kilnfolio.training.lessons import exam, read_lessons

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
    out = arguments.out or Path(f"exam-{arguments.path}-{arguments.seed}.pdf")
    key = out.with_name(f"{out.stem}-key.pdf")
    paper = exam(folder, lessons[arguments.path], arguments.seed)
    env = environment(folder.mill.record, own=house(folder.graph).of("mill", "en"))
    for path, answers in ((out, False), (key, True)):
        pdf, warnings = pdf_of(exam_html(paper, env, answers=answers))
        write_whole(path, pdf)
        for warning in warnings:
            print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    print(
        f"exam of {arguments.path}, seed {arguments.seed}, {paper.marks} marks, in {out}; "
        f"its key in {key}"
    )
    return OK
