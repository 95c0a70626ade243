"""kilnfolio what-if: estimate what one change would do, or would have done, to a charge."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_folder, add_format, value_of
from kilnfolio.cli.errors import ERROR, OK, print_json, print_no_charge, print_reasons

DESCRIPTION = (
    "Estimate what one change would do to the rest of an open charge, or would have done to a "
    "complete one: days, heat and peak gradient index, as ratios. Without a change, the usual "
    "ones. Sample boards decide."
)
EXAMPLE = "kilnfolio what-if HB-26-042 --at-most '60 °C'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("charge", help="the charge, open or complete")
    add_folder(parser)
    parser.add_argument(
        "--earlier",
        type=float,
        metavar="POINTS",
        help="begin each step this many points of MC earlier (negative: later)",
    )
    parser.add_argument(
        "--step", type=int, metavar="N", help="move only step N, as the schedule numbers it"
    )
    parser.add_argument(
        "--at-most",
        metavar="TEMPERATURE",
        help="limit every step to this temperature, as in '60 °C'",
    )
    parser.add_argument(
        "--depression", type=float, metavar="FACTOR", help="multiply every depression, as in 0.8"
    )
    parser.add_argument("--schedule", metavar="ID", help="continue with another schedule")
    parser.add_argument(
        "--thickness", metavar="SIZE", help="assume timber of this thickness, as in '52 mm'"
    )
    parser.add_argument("--kiln", metavar="ID", help="assume the air another kiln has lately kept")
    parser.add_argument(
        "--as-of",
        metavar="TIME",
        help="assume it is this moment, and ignore everything recorded later",
    )
    add_format(parser)


def run(arguments: argparse.Namespace) -> int:
    """Read the mill, compare and print."""
    import datetime as dt

    from kilnfolio.archive.sealed_mill import SEALED
    from kilnfolio.forecast.effects import NoComparison
    from kilnfolio.forecast.question import Question, answers
    from kilnfolio.forecast.what_if import HOW
    from kilnfolio.records.checking import checked_mill
    from kilnfolio.records.quantities import Length, Temperature

    try:
        as_of = dt.datetime.fromisoformat(arguments.as_of) if arguments.as_of else None
    except ValueError:
        return print_reasons(
            f"--as-of {arguments.as_of} is not a date and time; write it as in 2026-09-14T09:00",
            code=ERROR,
        )
    try:
        question = Question(
            arguments.earlier,
            arguments.step,
            value_of(Temperature, "--at-most", arguments.at_most),
            arguments.depression,
            arguments.schedule,
            value_of(Length, "--thickness", arguments.thickness),
            arguments.kiln,
        )
        folder = checked_mill(arguments.folder, SEALED)
        if as_of is not None and as_of.tzinfo is None:
            as_of = as_of.replace(tzinfo=folder.mill.record.zone)
        found = answers(folder, arguments.charge, question, as_of)
    except NoComparison as reason:
        return print_reasons(str(reason))
    except KeyError:
        return print_no_charge(arguments.folder, arguments.charge)
    except ValueError as error:
        return print_reasons(str(error), code=ERROR)
    if arguments.format == "json":
        print_json({"charge": arguments.charge, "changes": [one.as_data() for one in found]})
        return OK
    print(f"Charge {arguments.charge}:")
    for one in found:
        print("\n".join(one.as_lines()))
    print(HOW)
    return OK
