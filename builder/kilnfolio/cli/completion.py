"""kilnfolio completion: scripts for shell completion, and the manual page."""

from __future__ import annotations

import argparse
import re

from kilnfolio.cli.errors import OK

DESCRIPTION = (
    "Print a script that makes a shell complete commands and options, or the manual "
    "page. Both are made from the parser, so they know every option."
)
EXAMPLE = "kilnfolio completion bash > ~/.local/share/bash-completion/completions/kilnfolio"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "kind",
        choices=("bash", "zsh", "fish", "tcsh", "man", "entry"),
        help="a shell; man for the manual page; entry for the words that can follow a command such "
        "as 'weigh', as the scripts need them",
    )
    parser.add_argument("command", nargs="?", help="for entry: the command already typed")
    parser.add_argument("charge", nargs="?", help="for entry: the charge already typed")


def run(arguments: argparse.Namespace) -> int:
    """Print a completion script or the manual page."""
    from kilnfolio.cli import parser

    if arguments.kind == "entry":
        from kilnfolio.adopt.entry.completing import entry_words
        from kilnfolio.adopt.this_mill import this_mill

        print("\n".join(entry_words(this_mill(), arguments.command, arguments.charge)))
        return OK
    whole = parser()
    whole.make_all()
    if arguments.kind == "man":
        from argparse_manpage.manpage import Manpage

        page = Manpage(whole)
        page.description = "check kiln charges, and build a mill's handbook and records"
        page.manual = "kilnfolio"
        # troff reads a line that begins with a quotation mark as a request
        print(re.sub(r"^'", r"\\&'", str(page), flags=re.MULTILINE))
    else:
        import shtab

        print(shtab.complete(whole, shell=arguments.kind))
    return OK
