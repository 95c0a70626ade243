"""Arguments that several commands take."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.adopt.this_mill import this_mill

TYPE_CHECKING = False  # as typing has it; 'kilnfolio --help' imports only what it uses
if TYPE_CHECKING:
    from collections.abc import Callable


def add_folder(parser: argparse.ArgumentParser) -> None:
    """Add the mill folder, which is the current one where none is named."""
    parser.add_argument("folder", type=Path, nargs="?", default=this_mill(),
                        help="the mill folder, with content/ and schedules/ (default: this one)")


def add_format(parser: argparse.ArgumentParser) -> None:
    """Add the choice between output for a person and for a program."""
    parser.add_argument("--format", choices=("text", "json"), default="text",
                        help="for a person or for a program")


def asker() -> Callable[[str], str] | None:
    """Return the function that asks a person; None where nobody sits at the other end."""
    return input if sys.stdin.isatty() and sys.stdout.isatty() else None
