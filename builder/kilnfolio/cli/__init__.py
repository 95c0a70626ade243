"""The command line, with a module for each command.

A command's module has ``SUMMARY`` (its line in the help), ``EXAMPLE``, ``add_arguments`` and
``run``, which returns an exit code. ``DESCRIPTION``, if present, replaces the summary in the
command's own help. Heavy libraries are imported inside ``run``, so that every command starts
quickly.
"""

from __future__ import annotations

import gc
import io
import os
import signal
import sys
import types
from importlib import import_module

from kilnfolio import __version__
from kilnfolio.cli.errors import INTERRUPTED, TERMINATED, exit_code
from kilnfolio.cli.parser import CommandParser
from kilnfolio.runtime.garbage import collect_rarely

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import NoReturn

#: Commands in the order of the help, and the module of this package that runs each.
COMMANDS = {
    "build": "build",
    "check": "check",
    "forecast": "forecast",
    "what-if": "what_if",
    "effect": "effect",
    "group": "group",
    "try-limit": "try_limit",
    "allow": "allow",
    "seal": "seal",
    "amend": "amend",
    "audit": "audit",
    "ledger": "ledger",
    "witness": "witness",
    "labels": "labels",
    "sheet": "sheet",
    "exam": "exam",
    "drills": "drills",
    "practice": "practice",
    "weigh": "weigh",
    "step": "step",
    "stop": "stop",
    "wick": "wick",
    "note": "note",
    "equalize": "equalize",
    "condition": "condition",
    "finish": "finish",
    "sign": "sign",
    "answer": "answer",
    "correct": "correct",
    "undo": "undo",
    "take": "take",
    "compare": "compare",
    "export": "export",
    "import": "importing",
    "preview": "preview",
    "new": "new",
    "upgrade": "upgrade",
    "schema": "schema",
    "completion": "completion",
}

#: The module in which pydantic looks for plugins.
_PLUGINS = "pydantic.plugin._loader"


def run() -> NoReturn:
    """Run the command that this process was started for, and exit.

    Garbage is collected rarely, and not at exit: scanning the imported libraries took up to a
    second after Ctrl-C.
    """
    collect_rarely()
    # plugins of other packages have no say in what a record may hold; even where they are switched
    # off pydantic imports what would find them, and with it email, sockets and archives
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    none = sys.modules.setdefault(_PLUGINS, types.ModuleType(_PLUGINS))
    none.get_plugins = tuple  # type: ignore[attr-defined]
    for stream in (sys.stdout, sys.stderr):  # escape what the terminal cannot show, as "m³"
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    # as Ctrl-C does, so that no temporary files are left behind; systemd stops a build in this way
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(TERMINATED))
    code = main()
    if code == INTERRUPTED:
        # Python 3.11 remembers an interrupt inside exec() of a string, which dataclasses use, even
        # after it was caught, and would exit by the signal; running another string clears it.
        exec("pass")
    gc.freeze()
    sys.exit(code)


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; return its exit code."""
    words = sys.argv[1:] if argv is None else argv
    return exit_code(lambda: _run(words), words)


def _run(words: Sequence[str]) -> int:
    arguments = parser(words[:1]).parse_args(words)
    code: int = arguments.run(arguments)
    return code


def parser(words: Sequence[str] = ()) -> CommandParser:
    """Return the parser of all commands.

    Parameters
    ----------
    words : sequence of str, optional
        The first word of a command line. If it is the name of a command, only that command's
        module is imported, and the parser knows no other.
    """
    whole = CommandParser(
        prog="kilnfolio",
        description="Drying schedules, checked charges and lot records: reads a "
        "mill's YAML records and logger files, recomputes every number, and builds the handbook "
        "and a record page for every lot.",
        epilog="Guidance only. Nothing printed here is a permission to enter a kiln.",
    )
    whole.add_argument("--version", action="version", version=f"kilnfolio {__version__}")
    commands = whole.add_subparsers(required=True, metavar="command")
    for name in [word for word in words if word in COMMANDS] or COMMANDS:
        command = import_module(f"kilnfolio.cli.{COMMANDS[name]}")
        commands.add_parser(
            name,
            help=command.SUMMARY,
            fill=command.add_arguments,
            description=getattr(
                command, "DESCRIPTION", f"{command.SUMMARY[0].upper()}{command.SUMMARY[1:]}."
            ),
            epilog=f"example: {command.EXAMPLE}",
        ).set_defaults(run=command.run)
    return whole
