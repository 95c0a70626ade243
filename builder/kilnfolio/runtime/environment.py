"""What this computer's user has set."""

from __future__ import annotations

import os

from kilnfolio.runtime.allowed import allowed_code

TYPE_CHECKING = False  # saves importing typing
if TYPE_CHECKING:
    from typing import Any


def environment_options() -> dict[str, Any]:
    """Return what this computer's user has set: SOURCE_DATE_EPOCH, and code that may run."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    return {
        "epoch": int(epoch) if epoch.isdigit() else None,
        "code": " ".join(allowed_code()) or None,
    }
