"""The kinds of entry at the kiln, and the entry file that a phone keeps and hands over.

An entry is one thing that was done or read. It is the same whether it comes from a command, the
kiln-side page or a file. Its content decides whether the record already has it, so entry files may
be taken in any order and more than once.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from kilnfolio.records.charge import Event
from kilnfolio.records.model import Moment, Name, Number, Record, Text
from kilnfolio.records.quantities import Mass, Percent, Temperature
from kilnfolio.records.ranges import MoistureContent

#: Kinds of event, as in the record's model.
EVENTS: tuple[str, ...] = Event.model_fields["kind"].annotation.__args__  # type: ignore[union-attr]
#: The largest entry file accepted [bytes]: ten times a year of rounds on one phone.
MAX_BYTES = 1024 * 1024
#: Most entries in a file.
MAX_ENTRIES = 2000


class _Entry(Record):
    """The fields of every entry."""

    id: Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{8,60}$")] | None = None
    """Chosen by the device, and the same whenever the entry is handed over."""
    by: Name | None = None
    """Who did it; by default the person named by the file."""


class WeighingEntry(_Entry):
    """A round of masses, or of MCs by hand meter."""

    kind: Literal["weighing"]
    """Always ``weighing``."""
    at: Moment
    """When the boards were weighed."""
    masses: dict[Name, Mass] = {}
    """Mass of each board, with its unit."""
    mc: dict[Name, MoistureContent] = {}
    """MC of each board read by a hand meter."""


class StepEntry(_Entry):
    """The air of a step was set."""

    kind: Literal["step"]
    """Always ``step``."""
    at: Moment
    """When it was set."""
    step: Annotated[int, Field(ge=1, le=60)]
    """Number of the step, from 1."""
    reason: Text | None = None
    """Why, if not by the rule."""


class StopEntry(_Entry):
    """The kiln stopped."""

    kind: Literal["stop"]
    """Always ``stop``."""
    start: Moment
    """When it stopped. The same start later with an end completes the stop."""
    end: Moment | None = None
    """When it ran again; absent while it stands still."""
    cause: Text
    """Why it was stopped."""


class EventEntry(_Entry):
    """Something else happened."""

    kind: Literal["event"]
    """Always ``event``."""
    at: Moment
    """When it happened."""
    event: Literal[
        "wick changed", "fans reversed", "door opened", "sensor changed", "inspection", "note"
    ]
    """What kind of event it was."""
    note: Text | None = None
    """What happened, in words."""


class StageEntry(_Entry):
    """Equalizing or conditioning began, or ended."""

    kind: Literal["stage"]
    """Always ``stage``."""
    stage: Literal["equalizing", "conditioning"]
    """Which of the two."""
    start: Moment
    """When it began. The same start later with an end completes it."""
    end: Moment | None = None
    """When it ended; absent while it runs."""
    dry_bulb: Temperature
    """Dry bulb set."""
    emc: Percent
    """EMC set."""


class FinishEntry(_Entry):
    """The charge ended."""

    kind: Literal["finish"]
    """Always ``finish``."""
    ended: Moment
    """When drying, equalizing and conditioning ended."""
    unloaded: Moment | None = None
    """When the load was drawn from the kiln."""


Entry = Annotated[
    WeighingEntry | StepEntry | StopEntry | EventEntry | StageEntry | FinishEntry,
    Field(discriminator="kind"),
]


class EntryFile(Record):
    """Entries of one charge, kept on a device until they are handed over."""

    kilnfolio_entries: Literal[1]
    """Format of this file."""
    charge: Number
    """Number of the charge."""
    by: Name
    """Who made the entries."""
    device: Name
    """The device's name."""
    saved: Moment
    """Time of the device's clock when the file was saved, with its offset."""
    zone: Name
    """Time zone the device was set to, as in America/Toronto."""
    entries: Annotated[list[Entry], Field(max_length=MAX_ENTRIES)]
    """The entries, oldest first."""
