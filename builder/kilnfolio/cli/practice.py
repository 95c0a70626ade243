"""kilnfolio practice: review a charge run on the bench with the mill's own checks."""

from __future__ import annotations

import argparse
from pathlib import Path

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.errors import ERROR, print_reasons

DESCRIPTION = (
    "Run what the bench saved again, write it as a charge into a new mill folder, and print "
    "what this mill's checks say of it. 'kilnfolio check' opens that folder like any other."
)
EXAMPLE = "kilnfolio practice practice-charge.json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("file", type=Path, help="what the bench saved: practice-charge.json")
    add_folder(parser)
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FOLDER",
        help="where to write the record; must not be there yet (default: named after FILE)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Write the record and print the findings."""
    from kilnfolio.adopt.writing import write_new
    from kilnfolio.cli import check
    from kilnfolio.records.folder import open_mill
    from kilnfolio.training.practice_record import practice_records, read_saved

    out = arguments.out or arguments.file.with_suffix("")
    if out.exists():
        return print_reasons(f"{out} is there already. Name another with --out", code=ERROR)
    try:
        files = practice_records(open_mill(arguments.folder), read_saved(arguments.file))
    except (ValueError, OSError) as error:
        return print_reasons(str(error), code=ERROR)
    write_new(out, files)
    print(f"charge written into {out}; what the checks say of it:", flush=True)
    return check.run(
        argparse.Namespace(
            folder=out, charge="bench", all=False, quiet=False, format="text", fresh=True
        )
    )
