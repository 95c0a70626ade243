"""kilnfolio take: copy entry files of phones and exports of loggers into the records."""

from __future__ import annotations

import argparse
from pathlib import Path

from kilnfolio.cli.arguments import add_folder_option, number_from

DESCRIPTION = (
    "Copy entry files of the kiln-side page and exports of loggers into the records, in any order. "
    "Files may be taken twice: what is already there is skipped, and contradictions are reported."
)
EXAMPLE = "kilnfolio take ~/inbox --watch"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "paths",
        type=Path,
        nargs="+",
        metavar="FILE",
        help="entry files and exports, or folders of them",
    )
    add_folder_option(parser)
    parser.add_argument(
        "--scan",
        action="store_true",
        help="the files are pictures of the codes that a kiln-side page shows",
    )
    parser.add_argument(
        "--watch", action="store_true", help="keep taking what arrives in the folder, until Ctrl-C"
    )
    parser.add_argument(
        "--clock-ahead",
        type=number_from(-525_600, 525_600, float),
        default=0.0,
        metavar="MINUTES",
        help="how far the device's clock was ahead (negative: behind)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Take the files."""
    import datetime as dt

    from kilnfolio.adopt.entry import take

    ahead = dt.timedelta(minutes=arguments.clock_ahead)
    now = dt.datetime.now(dt.UTC)
    if arguments.scan:
        return take.report(take.take_codes(arguments.folder, arguments.paths, now, ahead), print)
    if arguments.watch:
        folder = arguments.paths[0]
        if len(arguments.paths) > 1 or not folder.is_dir():
            raise NotADirectoryError(20, "only one folder can be watched", str(folder))
        print(f"watching {folder} (Ctrl-C ends it)", flush=True)
        take.watch(arguments.folder, folder, ahead, lambda line: print(line, flush=True))
    return take.report(take.take(arguments.folder, arguments.paths, now, ahead), print)
