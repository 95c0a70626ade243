"""Silence workers whose parent process has died. The fork server loads this module first.

A worker that is still starting when Ctrl-C stops its parent finds the parent's pipes and locks gone
and would print a traceback for each. Later errors travel to the parent, which reports them.
"""

from __future__ import annotations

import sys
from types import TracebackType

#: What reading from a dead parent raises.
_PARENT_GONE = (EOFError, FileNotFoundError, ConnectionError)


def _report(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    if not issubclass(kind, _PARENT_GONE):
        sys.__excepthook__(kind, error, trace)


sys.excepthook = _report
