"""kilnfolio new: make a mill folder, or begin a record."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import asker
from kilnfolio.cli.errors import ERROR, OK, print_reasons

EXAMPLE = "kilnfolio new mill ~/our-mill"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    from kilnfolio.adopt.kinds import NEW

    kinds = parser.add_subparsers(required=True, metavar="kind")
    for name, kind in NEW.items():
        one = kinds.add_parser(
            name,
            help=kind.words,
            description=kind.words.capitalize() + ".",
            epilog=f"example: {kind.example}",
        )
        kind.add_options(one)
        one.set_defaults(kind_of_new=name)


def run(arguments: argparse.Namespace) -> int:
    """Make a mill folder, or begin a record."""
    from kilnfolio.adopt.kinds import NEW, UnansweredError

    try:
        NEW[arguments.kind_of_new].run(arguments, asker(), print)
    except UnansweredError as error:
        return print_reasons(str(error), code=ERROR)
    return OK
