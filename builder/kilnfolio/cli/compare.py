"""kilnfolio compare: compare what is published with what was built."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder, add_format
from kilnfolio.cli.errors import ERROR, FINDINGS, OK, print_json

SUMMARY = "fetch what is published and compare it with what was built"
EXAMPLE = "kilnfolio compare --at https://records.mill.example"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument(
        "--at",
        metavar="URL",
        help="where the customer edition is published "
        "(default: records_address in content/mill.yaml)",
    )
    parser.add_argument("--site", type=Path, help="where the editions are (default: FOLDER/site)")
    add_format(parser)


def run(arguments: argparse.Namespace) -> int:
    """Compare a published edition with the one that was built."""
    from dataclasses import asdict

    from kilnfolio.records.mill import Mill
    from kilnfolio.records.validation import validate
    from kilnfolio.records.yaml_source import read_yaml
    from kilnfolio.site.serving import NothingBuiltError, NotReachedError, compare

    mill = "content/mill.yaml"
    edition = (arguments.site or arguments.folder / "site") / "customer"
    try:
        address = (
            arguments.at
            or validate(read_yaml(arguments.folder / mill, mill), Mill).record.records_address
        )
        found = compare(
            address, edition, lambda line: print(f"kilnfolio: {line}", file=sys.stderr, flush=True)
        )
    except (NothingBuiltError, NotReachedError) as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return ERROR
    if arguments.format == "json":
        print_json({"address": address, "compared_with": str(edition)} | asdict(found))
    else:
        for one in found.differences:
            print(f"{address.rstrip('/')}/{one.path}: {one.what}")
        print(
            f"{found.files} files of {edition} compared with {address}: "
            + (f"{len(found.differences)} differences" if found.differences else "all as built")
        )
    return FINDINGS if found.differences else OK
