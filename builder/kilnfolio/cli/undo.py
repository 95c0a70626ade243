"""kilnfolio undo: undo what the last command wrote into a record."""

from __future__ import annotations

import argparse
from pathlib import PurePosixPath

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.errors import OK

EXAMPLE = "kilnfolio undo --list"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument(
        "--list",
        action="store_true",
        help="list what can be undone, latest first, and undo nothing",
    )


def run(arguments: argparse.Namespace) -> int:
    """Undo the last change that has not been undone."""
    from kilnfolio.adopt.record_file import history, undo

    if arguments.list:
        for one in reversed(history(arguments.folder)):
            names = ", ".join(map(_record, one.files))
            print(f"{_clock(one.at)}  {names}: {one.what}{'  (undone)' if one.undone else ''}")
        return OK
    last = undo(arguments.folder)
    print(f"undone: {last.what} (written {_clock(last.at)}), in {', '.join(last.files)}")
    return OK


def _record(name: str) -> str:
    """Return a charge's number for its record, else the path."""
    path = PurePosixPath(name)
    return path.parent.name if path.name == "charge.yaml" else name


def _clock(at: str) -> str:
    """Return a stamp as people read it: this computer's clock at the time, without its offset."""
    return at[:16].replace("T", " ")
