"""kilnfolio labels: print labels for the packs of sealed lots."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder_option, number_from
from kilnfolio.cli.errors import ERROR, OK, print_reasons

DESCRIPTION = "Print a label for each pack of these lots, or of every sealed lot."
EXAMPLE = "kilnfolio labels HBL-26-014 --sheet a4-99x67 --out labels.pdf"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    from kilnfolio.paper.label_sheets import SHEETS

    parser.add_argument("lots", nargs="*", metavar="LOT", help="the lots (default: all sealed)")
    add_folder_option(parser)
    parser.add_argument(
        "--sheet",
        choices=tuple(SHEETS),
        default=next(iter(SHEETS)),
        help="paper, and width and height of a label in mm (default: %(default)s)",
    )
    parser.add_argument(
        "--skip", type=number_from(0, 99), default=0, help="labels already used on the first sheet"
    )
    parser.add_argument("--out", type=Path, required=True, help="the PDF to write")


def run(arguments: argparse.Namespace) -> int:
    """Print labels."""
    from kilnfolio.paper.label_sheets import SHEETS
    from kilnfolio.pipeline.labels import print_labels
    from kilnfolio.runtime.errors import SealBrokenError

    if arguments.skip >= (size := SHEETS[arguments.sheet].size):
        return print_reasons(
            f"--skip {arguments.skip}: a sheet {arguments.sheet} has {size} labels, "
            f"so at most {size - 1} of them are used",
            code=ERROR,
        )
    try:
        count, warnings = print_labels(
            arguments.folder, arguments.lots, arguments.sheet, arguments.skip, arguments.out
        )
    except SealBrokenError as error:
        return print_reasons(*error.reasons, "nothing was written")
    for warning in warnings:
        print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    labels = "1 label" if count == 1 else f"{count} labels"
    print(f"{labels} in {arguments.out}; print at 100 %, not fitted to the page")
    return OK
