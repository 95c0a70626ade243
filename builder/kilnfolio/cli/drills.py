"""kilnfolio drills: the mill's own charges, made anonymous, each with a planted fault."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder, add_seed, number_from
from kilnfolio.cli.errors import ERROR, OK

DESCRIPTION = (
    "Write drills as one page that marks the answers. Each is a charge of this mill, made "
    "anonymous, with a planted fault that the review finds. Another seed gives other charges, "
    "faults and places."
)
EXAMPLE = "kilnfolio drills --seed 7"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    add_seed(parser, "the drills")
    parser.add_argument(
        "--count",
        type=number_from(1, 100),
        default=5,
        metavar="NUMBER",
        help="how many (default: %(default)s)",
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE.html", help="the page (default: drills-SEED.html)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Write the page."""
    from importlib import resources

    from kilnfolio.records.checking import checked_mill
    from kilnfolio.rendering.templating import environment
    from kilnfolio.runtime.files import write_whole
    from kilnfolio.site.static import style_sheet
    from kilnfolio.training.drills import drills_by_chance, sources_of_drills
    from kilnfolio.training.pages import drills_alone

    folder = checked_mill(arguments.folder)
    drills = drills_by_chance(
        folder, sorted(sources_of_drills(folder.graph)), arguments.seed, arguments.count
    )
    if not drills:
        print(
            "kilnfolio: no charge of this mill has room for a fault that would show. Drills need a "
            "finished charge with a log, sections and weighings, whose review raises none of the "
            "faults itself",
            file=sys.stderr,
        )
        return ERROR
    script = (resources.files("kilnfolio.site") / "assets" / "drills.js").read_text("utf-8")
    out = arguments.out or Path(f"drills-{arguments.seed}.html")
    env = environment(folder.mill.record, tag=folder.mill.record.language)
    page = drills_alone(drills, env, arguments.seed, style_sheet("mill"), script)
    write_whole(out, page.encode())
    print(f"{len(drills)} drills of seed {arguments.seed} in {out}")
    return OK
