"""kilnfolio group: one register, trends and library over several mills."""

from __future__ import annotations

import argparse
from pathlib import Path

from kilnfolio.cli.errors import ERROR, OK, print_reasons

DESCRIPTION = (
    "Read the lines that each mill of a group has exported, or take them from its folder as an auditor "
    "would see them, and write a small site: one register of charges, the same schedule at each mill, "
    "trends and library. Each mill keeps its own keys and editions; a folder is only read."
)
EXAMPLE = "kilnfolio group north.json south.json --out group"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "lines",
        nargs="+",
        type=Path,
        metavar="LINES",
        help="a file of lines for each mill, from 'kilnfolio export --format lines', or its folder",
    )
    parser.add_argument(
        "--out", type=Path, required=True, help="the folder to write; an earlier one is replaced"
    )
    parser.add_argument("--name", default="Our mills", help="the group's name (default: Our mills)")


def run(arguments: argparse.Namespace) -> int:
    """Read the lines and write the site."""
    from kilnfolio.api.group import LinesRefusedError, read_lines
    from kilnfolio.api.group_site import GroupRefusedError, write_group

    try:
        group = read_lines(arguments.lines)
        pages = write_group(group, arguments.name, arguments.out)
    except (LinesRefusedError, GroupRefusedError) as error:
        return print_reasons(str(error), "nothing was written", code=ERROR)
    for one in group:
        charges = "1 charge" if len(one.charges) == 1 else f"{len(one.charges):,} charges"
        print(f"{one.mill.name}: {charges}, {one.edition} edition")
    print(f"{pages} pages written to {arguments.out}; open {arguments.out / 'index.html'}")
    return OK
