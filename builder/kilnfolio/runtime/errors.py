"""Errors that stop a build or a seal before anything is published."""

from __future__ import annotations

from collections.abc import Sequence


class RefusedError(Exception):
    """Something was refused; `reasons` gives each cause as a sentence."""

    def __init__(self, reasons: Sequence[str]):
        self.reasons = tuple(reasons)
        super().__init__("\n".join(reasons))


class SealBrokenError(RefusedError):
    """Sealed records have changed."""


class PublicationRefusedError(RefusedError):
    """A page may not be published as it is."""


class SiteInUseError(RefusedError):
    """Another process is writing the same site."""


class WorkersUnreachableError(Exception):
    """No usable workers answer at the given address."""
