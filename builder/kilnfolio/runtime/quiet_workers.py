"""What is left to do when a parent process has died. The fork server loads this module first.

A worker that is still starting when Ctrl-C stops its parent finds the parent's pipes and locks gone
and would print a traceback for each. Later errors travel to the parent, which reports them.

The fork server is usually the last to end: after the parent, however that was stopped, and after all
workers. It removes the folder of their temporary files, which a parent that was killed could not. If it
is the fork server that ends too soon, the parent starts another and still needs the folder.
"""

from __future__ import annotations

import atexit
import os
import shutil
import sys
import time
from multiprocessing import forkserver
from pathlib import Path
from types import TracebackType

#: What reading from a dead parent raises.
_PARENT_GONE = (EOFError, FileNotFoundError, ConnectionError)


def _report(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    if not issubclass(kind, _PARENT_GONE):
        sys.__excepthook__(kind, error, trace)


sys.excepthook = _report


def _remove_temporary_files(server: int, parent: int) -> None:
    # the address of its socket, in the parent's folder
    address = getattr(forkserver, "_forkserver")._forkserver_address  # noqa: B009  (unknown to mypy)
    if address and os.getpid() == server and _has_ended(parent):
        shutil.rmtree(Path(address).parent, ignore_errors=True)


def _has_ended(parent: int) -> bool:
    """Return whether the parent has ended; a process that is ending first closes its pipes."""
    for _ in range(100):
        if os.getppid() != parent:
            return True
        time.sleep(0.01)
    return False


atexit.register(_remove_temporary_files, os.getpid(), os.getppid())
