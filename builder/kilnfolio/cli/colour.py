"""Colours of outcomes on a terminal, always beside the word.

There is no colour in a pipe or file, on a dumb terminal, or if NO_COLOR is set and not empty
(no-color.org).
"""

from __future__ import annotations

import os
import sys

#: ISO/IEC 6429 (ECMA-48), select graphic rendition: bold red, bold yellow, magenta, blue.
_CODES = {"fail": "1;31", "question": "1;33", "answered": "35", "note": "34"}


def wanted() -> bool:
    """Return whether standard output is a terminal that shows colour, and NO_COLOR is not set."""
    return (
        sys.stdout.isatty()
        and not os.environ.get("NO_COLOR")
        and os.environ.get("TERM", "") != "dumb"
    )


def painted(text: str, outcome: str) -> str:
    """Return text in the colour of an outcome, if colour is wanted."""
    code = _CODES.get(outcome)
    return f"\x1b[{code}m{text}\x1b[0m" if code and wanted() else text
