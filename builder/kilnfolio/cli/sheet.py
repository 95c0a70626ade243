"""kilnfolio sheet: print the kiln-side sheet of a charge."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.errors import ERROR, OK, print_no_charge

DESCRIPTION = (
    "Print one page to hang at the kiln: set-points, and the mass of each sample board "
    "at which each step falls due. It needs only the boards and their "
    "sections. For an open charge it also shows its progress, past rounds, and columns for the "
    "rounds to come."
)
EXAMPLE = "kilnfolio sheet HB-26-003 --paper letter --out kiln-2.pdf"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("charge", help="the charge's number")
    add_folder(parser)
    parser.add_argument(
        "--paper",
        choices=("a4", "letter"),
        default="a4",
        help="the size of the page (default: %(default)s)",
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE.pdf", help="the PDF to write (default: CHARGE-sheet.pdf)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print the sheet."""
    from kilnfolio.paper.sheet import SheetTooLongError, kiln_sheet, write_sheet
    from kilnfolio.pipeline.built import open_built_mill
    from kilnfolio.records.checking import charge_check, refuse_problems_of
    from kilnfolio.records.cross_checks import incomplete_references
    from kilnfolio.records.problems import RecordProblems
    from kilnfolio.rendering.templating import environment

    charge = arguments.charge
    out = arguments.out or Path(f"{charge}-sheet.pdf")
    try:
        folder = open_built_mill(arguments.folder)
        if charge not in folder.graph.names("charge"):
            return print_no_charge(arguments.folder, charge)
        refuse_problems_of(folder, [(charge_check, charge)])
        running = folder.open_charges.get(charge)
        if running and (
            lacks := [
                *incomplete_references(folder, running),
                *([] if running.so_far else [running]),
            ]
        ):
            raise RecordProblems(problem for one in lacks for problem in one.to_fill)
        warnings = write_sheet(
            kiln_sheet(folder, charge),
            environment(folder.mill.record, tag=folder.mill.record.language),
            out,
            arguments.paper,
        )
    except SheetTooLongError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return ERROR
    for warning in warnings:
        print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    print(f"kiln-side sheet of {charge} in {out}")
    return OK
