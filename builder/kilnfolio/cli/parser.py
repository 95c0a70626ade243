"""The parser of the command line, which adds a command's options only when they are needed.

Some options list the entries of registries, such as the sheets of labels; importing those would
slow down ``kilnfolio --help`` and every other command.
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
    """A parser whose options are added when they are first needed.

    Options and commands must be written in full: an abbreviation that works today could become
    ambiguous once another option begins with the same letters.

    Parameters
    ----------
    fill : callable, optional
        Adds the options, given the parser.
    """

    def __init__(
        self, *args: Any, fill: Callable[[CommandParser], None] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **{"allow_abbrev": False, "formatter_class": Help, **kwargs})
        self._fill = fill
        self._intermixing = False

    def fill(self) -> None:
        """Add the options if they have not been added yet."""
        if self._fill:
            fill, self._fill = self._fill, None
            fill(self)

    def fill_all(self) -> None:
        """Add the options of this command and of every command below it."""
        self.fill()
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                for command in action.choices.values():
                    command.fill_all()

    def parse_known_args(self, *args: Any, **kwargs: Any) -> Any:
        """Add the options, then parse. Printing help comes here too.

        Options may stand before, between and after a command's other words, as people type them:
        ``weigh C1 --at 07:10 S1=2230``.
        """
        self.fill()
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
