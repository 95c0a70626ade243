"""kilnfolio forecast: estimate when a charge's steps fall due and when it is done."""

from __future__ import annotations

import argparse
import datetime as dt

from kilnfolio.cli.arguments import add_folder, add_format
from kilnfolio.cli.errors import ERROR, OK, print_json, print_no_charge, print_reasons

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from kilnfolio.forecast.result import Forecast

DESCRIPTION = (
    "Estimate when the steps of a charge fall due and when it is done, from its "
    "weighings and log and from the mill's earlier charges. An estimate: sample boards "
    "decide."
)
EXAMPLE = "kilnfolio forecast HB-26-040 --as-of 2026-09-14T09:00"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "charge",
        help="the charge, open or complete; 'all' shows how each "
        "complete charge would have been forecast from the others",
    )
    add_folder(parser)
    parser.add_argument(
        "--as-of",
        metavar="TIME",
        help="forecast as of this moment, and ignore everything recorded later, as "
        "in 2026-09-14T09:00 (default: the charge's last record)",
    )
    add_format(parser)


def run(arguments: argparse.Namespace) -> int:
    """Read the mill, forecast and print."""
    from kilnfolio.archive.sealed_mill import SEALED
    from kilnfolio.forecast.evaluation import table
    from kilnfolio.forecast.mill import NotForecast, of_charge, past_forecasts
    from kilnfolio.forecast.printing import as_data, as_text
    from kilnfolio.records.checking import checked_mill

    folder = checked_mill(arguments.folder, SEALED)
    if arguments.charge == "all":
        print(table(past_forecasts(folder)))
        return OK
    as_of = None
    if arguments.as_of is not None:
        try:
            as_of = dt.datetime.fromisoformat(arguments.as_of)
        except ValueError:
            return print_reasons(
                f"--as-of {arguments.as_of} is not a date and time; write it as "
                "in 2026-09-14T09:00",
                code=ERROR,
            )
        as_of = as_of if as_of.tzinfo else as_of.replace(tzinfo=folder.mill.record.zone)
    try:
        found: Forecast = of_charge(folder, arguments.charge, as_of)
    except KeyError:
        return print_no_charge(arguments.folder, arguments.charge)
    except NotForecast as reason:
        return print_reasons(str(reason))
    if arguments.format == "json":
        print_json(as_data(found))
    else:
        print(as_text(found))
    return OK
