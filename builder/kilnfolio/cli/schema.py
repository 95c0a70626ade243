"""kilnfolio schema: the JSON Schema of a record kind."""

from __future__ import annotations

import argparse
import sys

from kilnfolio.cli.errors import ERROR, OK, print_json

SUMMARY = "print the JSON Schema of a record kind"
EXAMPLE = "kilnfolio schema charge"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("kind", help="charge, kiln, limits, logger, lot, mill, notation, schedule, "
                                     "sources or species")


def run(arguments: argparse.Namespace) -> int:
    """Print a schema."""
    from kilnfolio.records.folder import RECORD_KINDS
    from kilnfolio.records.schema import record_schema

    if arguments.kind not in RECORD_KINDS:
        print(f"kilnfolio: '{arguments.kind}' is not a record kind; they are: "
              + ", ".join(RECORD_KINDS), file=sys.stderr)
        return ERROR
    print_json(record_schema(arguments.kind))
    return OK
