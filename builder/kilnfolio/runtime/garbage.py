"""How often Python looks for garbage."""

from __future__ import annotations

import gc


def collect_rarely() -> None:
    """Collect less often than by default.

    Scanning the imported libraries again and again took a fifth of a short command's time.
    """
    gc.set_threshold(50_000, 10, 10)
