"""The checks, one registered function each. Importing this package fills the registry."""

from kilnfolio.review.checks import (
    arithmetic,
    boards,
    ending,
    following,
    heat_treatment,
    instruments,
    log_and_asked,
    lots,
    moisture_sensors,
    publication,
    rate,
    record_keeping,
    schedule,
    schedule_lint,
    survey,
)

__all__ = [
    "arithmetic",
    "boards",
    "ending",
    "following",
    "heat_treatment",
    "instruments",
    "log_and_asked",
    "lots",
    "moisture_sensors",
    "publication",
    "rate",
    "record_keeping",
    "schedule",
    "schedule_lint",
    "survey",
]
