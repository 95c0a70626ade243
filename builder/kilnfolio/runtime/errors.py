"""Why a build, or a seal, stops before anything of it is published."""

from __future__ import annotations

from collections.abc import Sequence


class RefusedError(Exception):
    """What stands against it; `reasons` name each thing."""

    def __init__(self, reasons: Sequence[str]):
        self.reasons = tuple(reasons)
        super().__init__("\n".join(reasons))


class SealBrokenError(RefusedError):
    """Sealed records are not as they were sealed."""


class PublicationRefusedError(RefusedError):
    """A check of what is about to be published refuses a page."""


class SiteInUseError(RefusedError):
    """Another build is writing the same site."""


class WorkersUnreachableError(Exception):
    """There are no workers where they were said to be, or they cannot be used."""
