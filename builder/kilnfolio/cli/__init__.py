"""The command line, with a module for each command.

A command's module has ``EXAMPLE``, ``add_arguments`` and ``run``, which returns an exit code.
``DESCRIPTION``, if present, replaces its line of `COMMANDS` in the command's own help. The module
is imported only for its own command, and heavy libraries inside ``run``, so that every command
starts quickly.
"""

from __future__ import annotations

import gc
import io
import os
import signal
import sys
import types
from functools import partial
from importlib import import_module

from kilnfolio import __version__
from kilnfolio.cli.errors import INTERRUPTED, TERMINATED, exit_code
from kilnfolio.cli.parser import CommandParser, LazyParser
from kilnfolio.runtime.garbage import collect_rarely

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any, NoReturn

#: Commands in the order of the help, each with its line there.
COMMANDS = {
    "build": "build the site from a mill folder",
    "check": "read, recompute and print what the checks say",
    "forecast": "estimate when a charge's steps fall due and when it is done",
    "what-if": "estimate what one change of the schedule would do to a charge",
    "effect": "compare two schedules by days, heat and peak gradient index",
    "group": "make one register, trends and library over several mills from their lines",
    "try-limit": "show which past results another limit would change",
    "allow": "let the mill's own checks run on this computer",
    "seal": "seal a charge or lot so that any later change shows",
    "amend": "seal a changed charge or lot again, with the reason",
    "audit": "check seals and compute every figure again",
    "ledger": "show the ledger's head; replace or revoke keys; correct the clock",
    "witness": "countersign a ledger's head, or add a countersignature or time stamp",
    "labels": "print labels for the packs of sealed lots",
    "sheet": "print the kiln-side sheet of a charge",
    "exam": "print an exam and, separately, its key; publish and release them",
    "drills": "make drills from the mill's charges, each with a fault to find",
    "practice": "write a charge run on the bench as a record, and review it",
    "weigh": "record a round of weighings",
    "step": "record that a step was set",
    "stop": "record that the kiln stopped",
    "wick": "record that the wick was changed",
    "note": "record what happened",
    "equalize": "record that equalizing began or ended",
    "condition": "record that conditioning began or ended",
    "finish": "record that a charge ended",
    "sign": "sign the record of a charge",
    "answer": "give a signed answer to a finding",
    "correct": "correct a value and keep the old one",
    "undo": "take back what the last command wrote into a record",
    "take": "copy entry files of phones and logger exports into the records",
    "compare": "compare two charges or schedules, or what is published with what was built",
    "export": "write charges, boards, weighings, air, findings and lots for other programs",
    "import": "read a logger's export or a mill's own sheet",
    "preview": "show the pages while records are written",
    "new": "make a mill's folder, or begin a record",
    "upgrade": "rewrite records of an older format in the current one",
    "schema": "print the JSON Schema of a record kind",
    "completion": "print shell completion, or the manual page",
}

#: The module in which pydantic looks for plugins.
_PLUGINS = "pydantic.plugin._loader"


def run() -> NoReturn:
    """Run the command that this process was started for, and exit.

    Garbage is collected rarely, and not at exit: scanning the imported libraries took up to a
    second after Ctrl-C.
    """
    collect_rarely()
    # our matrices are small: threads of linear algebra only wait for each other, and a build shares
    # its work among processes
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
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
    arguments = parser().parse_args(words)
    return int(arguments.run(arguments))


def parser() -> CommandParser:
    """Return the parser of all commands, which knows only their names until one is given."""
    whole = CommandParser(
        prog="kilnfolio",
        description="Drying schedules, checked charges and lot records: reads a "
        "mill's YAML records and logger files, recomputes every number, and builds the handbook "
        "and a record page for every lot.",
        epilog="Guidance only. Nothing printed here is a permission to enter a kiln.",
    )
    whole.add_argument("--version", action="version", version=f"kilnfolio {__version__}")
    commands = whole.add_subparsers(
        required=True,
        metavar="command",
        parser_class=LazyParser,  # type: ignore[type-var]
    )
    for name, summary in COMMANDS.items():
        commands.add_parser(name, help=summary, make=partial(_parser_of, name))
    return whole


def _parser_of(name: str, **options: Any) -> CommandParser:
    command, summary = command_module(name), COMMANDS[name]
    whole = CommandParser(
        description=getattr(command, "DESCRIPTION", f"{summary[0].upper()}{summary[1:]}."),
        epilog=f"example: {command.EXAMPLE}",
        **options,
    )
    command.add_arguments(whole)
    whole.set_defaults(run=command.run)
    return whole


def command_module(name: str) -> types.ModuleType:
    """Import the module that runs a command."""
    module = "importing" if name == "import" else name.replace("-", "_")
    return import_module(f"kilnfolio.cli.{module}")
