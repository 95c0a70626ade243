"""kilnfolio preview: show the pages while records are written."""

from __future__ import annotations

import argparse
from pathlib import Path

from kilnfolio.cli.arguments import add_folder, number_from
from kilnfolio.cli.errors import ERROR, print_reasons

DESCRIPTION = (
    "Serve the pages to this computer only, and rebuild them whenever a file is saved. The "
    "pages list records that cannot be read. Entries from the kiln-side pages are accepted; "
    "PDFs are not made."
)
EXAMPLE = "kilnfolio preview ~/our-mill"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument("--port", type=number_from(0, 65535), default=8300, help="default: 8300")
    parser.add_argument(
        "--lan",
        nargs="?",
        const="",
        metavar="ADDRESS",
        help="let paired devices on the mill's network open the kiln-side pages and hand entries "
        "over, at this computer's ADDRESS (default: found automatically)",
    )
    parser.add_argument(
        "--lan-port", type=number_from(0, 65535), default=8301, help="default: 8301"
    )
    parser.add_argument(
        "--certificate",
        type=Path,
        metavar="PEM",
        help="encrypt the traffic with devices, using this certificate",
    )
    parser.add_argument("--certificate-key", type=Path, metavar="PEM")


def run(arguments: argparse.Namespace) -> int:
    """Serve the pages."""
    from kilnfolio.adopt.preview import LanChoice, serve

    if (arguments.certificate is None) != (arguments.certificate_key is None):
        return print_reasons("--certificate and --certificate-key go together", code=ERROR)
    certificate = arguments.certificate and (arguments.certificate, arguments.certificate_key)
    lan = (
        None if arguments.lan is None else LanChoice(arguments.lan, arguments.lan_port, certificate)
    )
    return serve(arguments.folder, arguments.port, lambda line: print(line, flush=True), lan)
