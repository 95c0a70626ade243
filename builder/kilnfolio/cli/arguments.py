"""Arguments that several commands share."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.adopt.this_mill import this_mill

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from kilnfolio.adopt.entry.commands import TaskContext, Terminal
    from kilnfolio.records.quantities import Quantity


#: How shells complete the words of a command that writes into a charge's record.
_ENTRY_WORDS = {
    "bash": "_kilnfolio_entry",
    "zsh": "_kilnfolio_entry",
    "tcsh": "`kilnfolio completion entry weigh`",
    "fish": "(_kilnfolio_entry)",
    "preamble": {
        "bash": """
_kilnfolio_entry() {
  case "${COMP_WORDS[1]}" in weigh|correct) compopt -o nospace 2>/dev/null;; esac
  compgen -W "$(kilnfolio completion entry "${COMP_WORDS[1]}" "${COMP_WORDS[2]}" 2>/dev/null)" -- "$1"
}
""",
        "zsh": """
_kilnfolio_entry() {
  local suffix=' '
  case "${words[1]}" in weigh|correct) suffix='';; esac
  compadd -S "$suffix" -- ${(f)"$(kilnfolio completion entry "${words[1]}" "${words[2]}" 2>/dev/null)"}
}
""",
        "fish": """
function _kilnfolio_entry
  set -l words (commandline -opc)
  kilnfolio completion entry "$words[2]" "$words[3]" 2>/dev/null
end
""",
    },
}


def completes_entry(argument: argparse.Action) -> None:
    """Let shells complete an argument with charges, and with what the command takes of one."""
    argument.complete = _ENTRY_WORDS  # type: ignore[attr-defined]  # shtab's convention


def add_folder(parser: argparse.ArgumentParser) -> None:
    """Add the mill folder, by default the current one."""
    parser.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=this_mill(),
        help="the mill folder, with content/ and schedules/ (default: the one you are in)",
    )


def add_folder_option(parser: argparse.ArgumentParser) -> None:
    """Add the mill folder as an option, for a command with other positional arguments."""
    parser.add_argument(
        "--folder",
        type=Path,
        default=this_mill(),
        help="the mill folder (default: the one you are in)",
    )


def add_seed(parser: argparse.ArgumentParser, picks: str) -> None:
    """Add the seed of a command's random choices."""
    parser.add_argument(
        "--seed",
        type=number_from(0, 999_999),
        default=1,
        metavar="NUMBER",
        help=f"picks {picks}; 0 or more (default: %(default)s)",
    )


def add_format(parser: argparse.ArgumentParser) -> None:
    """Add the choice of output for a person or for a program."""
    parser.add_argument(
        "--format", choices=("text", "json"), default="text", help="for a person or for a program"
    )


def value_of(quantity: type[Quantity], option: str, text: str | None) -> float | None:
    """Return an option's quantity in the program's own unit; None if it was not given.

    Raises
    ------
    ValueError
        It is not a number with a unit of this kind.
    """
    if text is None:
        return None
    try:
        return quantity.parse(text).value
    except ValueError as error:
        raise ValueError(f"{option} {text} {error}; write a number and its unit") from None


def asker() -> Callable[[str], str] | None:
    """Return the function that asks a person; None unless input and output are a terminal."""
    return input if sys.stdin.isatty() and sys.stdout.isatty() else None


def add_entry(parser: argparse.ArgumentParser, *, charge: bool = True, yes: bool = True) -> None:
    """Add the arguments of every command that writes into a charge's record."""
    if charge:
        completes_entry(parser.add_argument("charge", help="the charge's number"))
    parser.add_argument("--by", help="who did it (default: the last one named, or KILNFOLIO_BY)")
    add_folder_option(parser)
    parser.add_argument("--dry-run", action="store_true", help="show the change and write nothing")
    if yes:
        parser.add_argument("--yes", action="store_true", help="write even if a value looks wrong")


def number_from(low: float, high: float, kind: type = int) -> Callable[[str], float]:
    """Return a parser of numbers between limits, for an option's ``type``."""

    def read(text: str) -> float:
        try:
            value: float = kind(text)
        except ValueError:
            value = low - 1
        if not low <= value <= high:  # so that NaN is refused too
            words = "a whole number" if kind is int else "a number"
            raise argparse.ArgumentTypeError(f"'{text}' is not {words} from {low:g} to {high:g}")
        return value

    return read


def add_at(parser: argparse.ArgumentParser, words: str = "when") -> None:
    """Add the option for the time of an entry."""
    parser.add_argument(
        "--at", metavar="TIME", help=f"{words}, as in 07:10 or 2026-03-02T07:10 (default: now)"
    )


def terminal(arguments: argparse.Namespace) -> Terminal:
    """Return the terminal of a command that makes an entry."""
    import datetime as dt

    from kilnfolio.adopt.entry.commands import Terminal

    return Terminal(
        print, asker(), dt.datetime.now(dt.UTC), getattr(arguments, "yes", True), arguments.dry_run
    )


def open_task(arguments: argparse.Namespace) -> tuple[TaskContext, str, dt.datetime]:
    """Return the charge that a command is about, who makes the entry, and the present time."""
    import datetime as dt

    from kilnfolio.adopt.entry.commands import TaskContext, person

    task = TaskContext.open(arguments.folder, arguments.charge)
    return task, person(arguments.folder, arguments.by), dt.datetime.now(dt.UTC)
