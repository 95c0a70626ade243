"""The parser of the command line, which makes a command's own parser only when it is needed.

Making all of them took longer than the rest of ``kilnfolio --help``, and some options list the
entries of registries, such as the sheets of labels.
"""

from __future__ import annotations

import argparse
import os

TYPE_CHECKING = False  # saves the 2 ms that importing typing takes
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any


class Help(argparse.HelpFormatter):
    """Help as wide as the terminal.

    argparse makes a formatter for every option, and by itself it asks `shutil` for the width, which
    brings everything that packs and unpacks archives.
    """

    def __init__(self, prog: str) -> None:
        try:
            columns = int(os.environ.get("COLUMNS", 0)) or os.get_terminal_size(1).columns
        except (ValueError, OSError):
            columns = 80
        super().__init__(prog, width=(columns or 80) - 2)


class CommandParser(argparse.ArgumentParser):
    """A parser of a command line.

    Options and commands must be written in full: an abbreviation that works today could become
    ambiguous once another option begins with the same letters.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"allow_abbrev": False, "formatter_class": Help, **kwargs})
        self._intermixing = False

    def make_all(self) -> None:
        """Make the parser of every command."""
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                for name, command in action.choices.items():
                    action.choices[name] = command.made()

    def parse_known_args(self, *args: Any, **kwargs: Any) -> Any:
        """Parse.

        Options may stand before, between and after a command's other words, as people type them:
        ``weigh C1 --at 07:10 S1=2230``.
        """
        if self._intermixing or any(
            isinstance(action, argparse._SubParsersAction) for action in self._actions
        ):
            return super().parse_known_args(*args, **kwargs)
        self._intermixing = True  # argparse calls this again for the options and for the words
        try:
            return self.parse_known_intermixed_args(*args, **kwargs)
        finally:
            self._intermixing = False

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """Refuse a value that is not among the choices, and suggest the nearest one."""
        if action.choices is not None and value not in action.choices:
            from kilnfolio.runtime.nearest import nearest

            known = [str(choice) for choice in action.choices]
            near = nearest(str(value), known)
            what = "command" if isinstance(action, argparse._SubParsersAction) else "choice"
            raise argparse.ArgumentError(
                action if what == "choice" else None,
                f"there is no {what} '{value}'"
                + (f"; did you mean '{near[0]}'?" if near else f"; choose from {', '.join(known)}"),
            )


class LazyParser:
    """Stands for the parser of a command until words are parsed by it.

    Parameters
    ----------
    make : callable
        Makes the parser, given the options that `argparse` passes on.
    """

    def __init__(self, make: Callable[..., CommandParser], **options: Any) -> None:
        self._make, self._options = make, options

    def made(self) -> CommandParser:
        """Return the parser."""
        return self._make(**self._options)

    def parse_known_args(self, *args: Any, **kwargs: Any) -> Any:
        """Parse by the parser."""
        return self.made().parse_known_args(*args, **kwargs)
