"""kilnfolio preview: the pages, while records are written."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_folder

SUMMARY = "show the pages while records are written"
DESCRIPTION = ("Serve the pages to this computer alone, build them again whenever a file is saved, "
               "and show in the page what cannot be read. No PDFs are made.")
EXAMPLE = "kilnfolio preview ~/our-mill"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument("--port", type=int, default=8300, help="default: 8300")


def run(arguments: argparse.Namespace) -> int:
    """Serve the pages."""
    from kilnfolio.adopt.preview import serve

    return serve(arguments.folder, arguments.port, lambda line: print(line, flush=True))
