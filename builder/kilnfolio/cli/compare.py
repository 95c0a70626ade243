"""kilnfolio compare: two charges or schedules, or what is published with what was built."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder_option, add_format
from kilnfolio.cli.errors import ERROR, FINDINGS, OK, print_json, print_reasons

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from kilnfolio.records.folder import MillFolder
    from kilnfolio.site.compared import Row

DESCRIPTION = (
    "With two charges or two schedules: show what differs. Otherwise fetch what is published and "
    "compare it with what was built."
)
EXAMPLE = "kilnfolio compare HB-26-030 HB-26-038"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "what",
        nargs="*",
        metavar="WHAT",
        help="two charges by number, or two schedules by id; else the mill folder whose site is "
        "published (default: the one you are in)",
    )
    add_folder_option(parser)
    parser.add_argument(
        "--at",
        metavar="URL",
        help="where the customer edition is published "
        "(default: records_address in content/mill.yaml)",
    )
    parser.add_argument("--site", type=Path, help="where the editions are (default: FOLDER/site)")
    add_format(parser)


def run(arguments: argparse.Namespace) -> int:
    """Compare two records, or a published edition with the one that was built."""
    if len(arguments.what) > 2:
        return print_reasons("name two charges or two schedules", code=ERROR)
    if len(arguments.what) == 2:
        return _compare_two(arguments)
    folder = Path(arguments.what[0]) if arguments.what else arguments.folder
    return _compare_published(arguments, folder)


# --- two charges or schedules ---------------------------------------------------------------------


def _compare_two(arguments: argparse.Namespace) -> int:
    from kilnfolio.archive.sealed_mill import SEALED
    from kilnfolio.records.checking import checked_mill

    mill, names = checked_mill(arguments.folder, SEALED), arguments.what
    if all(name in mill.charges for name in names):
        return _compare_charges(mill, names, arguments.format)
    if all(name in mill.schedules for name in names):
        return _compare_schedules(mill, names, arguments.format)
    unknown = [name for name in names if name not in mill.charges and name not in mill.schedules]
    why = (
        f"there is no complete charge and no schedule '{unknown[0]}'"
        if unknown
        else f"'{names[0]}' and '{names[1]}' are not of one kind"
    )
    return print_reasons(why, "name two complete charges or two schedules", code=ERROR)


def _compare_charges(mill: MillFolder, names: list[str], form: str) -> int:
    from kilnfolio.site.compared import energy_words, two_charges

    results, course = two_charges(mill, *names)
    if form == "json":
        print_json(
            {
                "first": names[0],
                "second": names[1],
                "results": [_as_data(row) for row in results],
                "course": [_as_data(row) for row in course],
            }
        )
        return OK
    wide = max(len(row.name) for row in (*results, *course))
    print(f"{'':<{wide}}  {names[0]:>14}  {names[1]:>14}  {'difference':>12}")
    for row in (*results, *course):
        first, second, change = row.words
        print(f"{row.name:<{wide}}  {first:>14}  {second:>14}  {change:>12}")
    for words in filter(None, (energy_words(mill, name) for name in names)):
        print(words)
    print("A difference between two charges is no cause: weather, stock and stops differ too.")
    return OK


def _as_data(row: Row) -> dict[str, object]:
    return {
        "name": row.name,
        "unit": row.unit,
        "first": None if row.first is None else round(row.first, row.decimals),
        "second": None if row.second is None else round(row.second, row.decimals),
    }


def _compare_schedules(mill: MillFolder, names: list[str], form: str) -> int:
    from kilnfolio.site.compared import two_schedules

    found = two_schedules(mill, *names)
    if form == "json":
        print_json(
            {
                "first": names[0],
                "second": names[1],
                "steps": dict(found.steps),
                "also": found.others,
                "effect": found.effect or None,
            }
        )
        return OK
    print(f"{names[1]} against {names[0]}:")
    for step, words in found.steps:
        print(f"  {step}: {words}")
    if not found.steps:
        print("  the steps are the same")
    if found.others:
        print(f"  also different: {', '.join(found.others)}")
    if found.effect:
        print("Computed effect on one board:")
    print("\n".join(found.lines))
    return OK


# --- what is published ----------------------------------------------------------------------------


def _compare_published(arguments: argparse.Namespace, folder: Path) -> int:
    from dataclasses import asdict

    from kilnfolio.records.mill import Mill
    from kilnfolio.records.validation import validate
    from kilnfolio.records.yaml_source import read_yaml
    from kilnfolio.site.serving import NothingBuiltError, NotReachedError, compare

    mill = "content/mill.yaml"
    edition = (arguments.site or folder / "site") / "customer"
    try:
        address = (
            arguments.at or validate(read_yaml(folder / mill, mill), Mill).record.records_address
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
