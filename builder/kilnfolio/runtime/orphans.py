"""Loaded first by the server that starts worker processes: what a child left alone says, nothing.

A child that is just being started when Ctrl-C stops its parent finds the parent's pipes and locks
gone. What goes wrong later is carried to the parent and told there.
"""

from __future__ import annotations

import sys
from types import TracebackType

#: What reading from a parent that is gone raises.
_GONE = (EOFError, FileNotFoundError, ConnectionError)


def _tell(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    if not issubclass(kind, _GONE):
        sys.__excepthook__(kind, error, trace)


sys.excepthook = _tell
