"""kilnfolio amend: seal a changed charge or lot again, with the reason."""

from __future__ import annotations

import argparse

from kilnfolio.cli.seal import add_subject, enter

DESCRIPTION = "Seal a changed charge or lot again. The earlier version is kept."
EXAMPLE = (
    "kilnfolio amend HB-26-003 --by 'R. Quill' --reason 'Board S3 was weighed twice; the "
    "second mass stands'"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_subject(parser)
    parser.add_argument("--reason", required=True, help="why it was changed; printed with the seal")


def run(arguments: argparse.Namespace) -> int:
    """Amend a charge or lot."""
    return enter(arguments, arguments.reason)
