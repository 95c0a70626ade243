"""How often Python looks for garbage."""

from __future__ import annotations

import gc


def collect_rarely() -> None:
    """Collect once a million objects more exist than after the last collection.

    Scanning the imported libraries again and again took a fifth of a short command's time. What a
    build has no more use for goes at once, as hardly anything of it refers to itself.
    """
    gc.set_threshold(1_000_000, 10, 10)
