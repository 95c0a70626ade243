"""How often Python looks for garbage."""

from __future__ import annotations

import gc


def collect_rarely(after: int = 50_000) -> None:
    """Collect less often than by default.

    Scanning the imported libraries again and again took a fifth of a short command's time.

    Parameters
    ----------
    after : int, default 50000
        Number of objects made, and not freed, since the last collection. Where it is higher a long
        command takes more memory: a build 40 MB at 200,000.
    """
    gc.set_threshold(after, 10, 10)
