"""kilnfolio upgrade: rewrite records of an older format in the current one."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.errors import FINDINGS, OK

DESCRIPTION = (
    "Show what would change in records of an older format; with --write, rewrite them, all or none, "
    "and keep the originals. Older formats can also be read without this; sealed charges are "
    "never rewritten."
)
EXAMPLE = "kilnfolio upgrade ~/our-mill"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument("--write", action="store_true", help="rewrite them")


def run(arguments: argparse.Namespace) -> int:
    """Rewrite records of an older format, or show what would change."""
    from kilnfolio.adopt import upgrade

    old = upgrade.run(arguments.folder, write=arguments.write, say=print)
    return FINDINGS if old else OK
