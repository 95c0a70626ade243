"""kilnfolio schema: print the JSON Schema of a record kind."""

from __future__ import annotations

import argparse
import sys

from kilnfolio.cli.errors import ERROR, OK, print_json

EXAMPLE = "kilnfolio schema charge"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "kind",
        help="charge, entries, kiln, limits, logger, lot, mill, notation, "
        "schedule, sources or species",
    )


def run(arguments: argparse.Namespace) -> int:
    """Print a schema."""
    from kilnfolio.adopt.starter import SCHEMAS

    if arguments.kind not in SCHEMAS:
        print(
            f"kilnfolio: '{arguments.kind}' is not a record kind; they are: " + ", ".join(SCHEMAS),
            file=sys.stderr,
        )
        return ERROR
    print_json(SCHEMAS[arguments.kind]())
    return OK
