"""The parser of the command line: a command is described when it is the one asked for.

Options are worded from registries such as the sheets of labels, and those cost imports that
``kilnfolio --help`` and the other commands do not need.
"""

from __future__ import annotations

import argparse

TYPE_CHECKING = False  # as typing has it, without the 2 ms that importing typing takes
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any


class CommandParser(argparse.ArgumentParser):
    """A parser whose options are added at its first use.

    Parameters
    ----------
    fill : callable, optional
        Adds them, given the parser.
    """

    def __init__(self, *args: Any, fill: Callable[[CommandParser], None] | None = None,
                 **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._fill = fill

    def parse_known_args(self, *args: Any, **kwargs: Any) -> Any:
        """Parse, with the options added: what both a command line and its help come through."""
        if self._fill:
            fill, self._fill = self._fill, None
            fill(self)
        return super().parse_known_args(*args, **kwargs)
