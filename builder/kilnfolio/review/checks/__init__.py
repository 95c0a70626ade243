"""One function a check, registered once. Importing this package fills the registry."""

from kilnfolio.review.checks import (
    arithmetic,
    boards,
    ending,
    heat_treatment,
    instruments,
    log_and_asked,
    lots,
    publication,
    rate,
    record_keeping,
    schedule,
    schedule_lint,
)

__all__ = [
    "arithmetic",
    "boards",
    "ending",
    "heat_treatment",
    "instruments",
    "log_and_asked",
    "lots",
    "publication",
    "rate",
    "record_keeping",
    "schedule",
    "schedule_lint",
]
