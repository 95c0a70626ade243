"""kilnfolio allow: let a mill's own checks run on this computer."""

from __future__ import annotations

import argparse
import sys

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.errors import ERROR, FINDINGS, OK, print_reasons

DESCRIPTION = (
    "Show the mill's own checks in content/checks/, ask whether they may run, try both sides of "
    "each, and note their SHA-256 for this user. They are Python code and can do whatever you can: "
    "read them first. A changed file must be allowed again."
)
EXAMPLE = "kilnfolio allow"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument("--yes", action="store_true", help="do not ask")


def run(arguments: argparse.Namespace) -> int:
    """Ask, try the checks and note that they may run."""
    from kilnfolio.records.folder import open_mill
    from kilnfolio.review.own_code import digest_of, load, own_files
    from kilnfolio.review.own_rows import failing_rows
    from kilnfolio.runtime.allowed import allow, allowed_code

    files = own_files(open_mill(arguments.folder).graph)
    if not files:
        print("This mill has no checks of its own: content/checks/ holds no Python file.")
        return OK
    digest = digest_of(files)
    if digest in allowed_code():
        print(f"It may run already: {digest}")
        return OK
    for path, data in files.items():
        print(f"{path}, {len(data.splitlines())} lines")
    print(f"SHA-256 of what 'sha256sum' prints of them: {digest}")
    if not arguments.yes and not _agrees():
        return print_reasons("nothing was allowed; nothing was run", code=ERROR)
    code = load(files)
    if problems := list(failing_rows(arguments.folder, code)):
        return print_reasons(*map(str, problems), "nothing was allowed", code=FINDINGS)
    allow(digest, arguments.folder.resolve())
    rows = sum(map(len, code.rows.values()))
    print(f"Allowed: {', '.join(sorted(code.checks))}; {rows} rows tried.")
    return OK


def _agrees() -> bool:
    if not sys.stdin.isatty():
        print("Read the code, then give --yes.", file=sys.stderr)
        return False
    return input("Have you read this code, and may it run here? [y/N] ").strip().lower() == "y"
