"""kilnfolio effect: compare two schedules by their effect on one board."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_folder, add_format, value_of
from kilnfolio.cli.errors import ERROR, OK, print_json, print_reasons

DESCRIPTION = (
    "Compare two schedules by what they do to one green board of the first one's timber: days, "
    "heat and peak gradient index, as ratios. Sample boards decide."
)
EXAMPLE = "kilnfolio effect acer-saccharum-4-4 acer-saccharum-4-4-dh"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("first", help="id of the first schedule")
    parser.add_argument("second", help="id of the schedule it is compared with")
    add_folder(parser)
    parser.add_argument("--species", metavar="ID", help="species (default: the first one's)")
    parser.add_argument("--thickness", metavar="SIZE", help="thickness (default: the first one's)")
    parser.add_argument("--target", metavar="MC", help="MC at which both end, as in '8 %%'")
    add_format(parser)


def run(arguments: argparse.Namespace) -> int:
    """Read the mill, compare and print."""
    from kilnfolio.archive.sealed_mill import SEALED
    from kilnfolio.forecast.effects import NoComparison
    from kilnfolio.forecast.question import compared
    from kilnfolio.forecast.what_if import HOW
    from kilnfolio.records.checking import checked_mill
    from kilnfolio.records.quantities import Length, Percent

    try:
        thickness = value_of(Length, "--thickness", arguments.thickness)
        target = value_of(Percent, "--target", arguments.target)
        folder = checked_mill(arguments.folder, SEALED)
        one = compared(
            folder,
            arguments.first,
            arguments.second,
            arguments.species,
            thickness,
            target,
        )
    except NoComparison as reason:
        return print_reasons(str(reason))
    except ValueError as error:
        return print_reasons(str(error), code=ERROR)
    if arguments.format == "json":
        print_json({"first": arguments.first, "second": arguments.second, **one.as_data()})
        return OK
    print(f"{arguments.second} against {arguments.first}:")
    print("\n".join(one.as_lines()))
    print(HOW)
    return OK
