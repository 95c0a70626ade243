"""A charge: everything the mill wrote down about drying one kiln load."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from kilnfolio.records.kiln import Channel
from kilnfolio.records.model import (
    Day,
    Moment,
    Name,
    Number,
    Record,
    Signature,
    Slug,
    Text,
    in_range,
)
from kilnfolio.records.quantities import (
    Area,
    Duration,
    Energy,
    Length,
    Mass,
    Percent,
    Temperature,
    TemperatureDifference,
    Volume,
)
from kilnfolio.records.species import Defect

MoistureContent = Annotated[Percent, in_range(0, 300)]


class Intake(Record):
    """Where the timber came from. Never leaves the mill."""

    number: Name
    """The supplier's or yard's lot number."""
    supplier: Name | None = None
    """Who supplied it."""
    sawn: Day | None = None
    """The day it was sawn."""
    claim: Name | None = None
    """Certificate claim on the intake papers."""


class ChargeStock(Record):
    """One kind of timber in the charge."""

    species: Slug
    """Species id."""
    thickness: Length
    """Nominal thickness."""
    volume: Volume
    """Volume loaded."""
    pieces: Annotated[int, Field(ge=1)] | None = None
    """Pieces loaded."""
    start: Literal["green", "air-dried"] = "green"
    """State at loading."""
    intake: list[Intake] = []
    """Where it came from."""


class Stacking(Record):
    """How the load was stacked."""

    by: Name
    """Who."""
    on: Day
    """When."""
    sticker_thickness: Length | None = None
    """Sticker thickness."""
    sticker_spacing: Length | None = None
    """Sticker spacing."""
    sticker_mc: Percent | None = None
    """Moisture content of the stickers."""
    baffles_closed: bool | None = None
    """Baffles closed against the load."""
    top_weight: Text | None = None
    """Top weights."""
    packs: dict[Number, Name] = {}
    """Pack number to position in the kiln."""


class Section(Record):
    """A moisture section cut beside a sample board."""

    id: Name
    """Tag."""
    green: Annotated[Mass, in_range(1, 5000)]
    """Mass when cut."""
    oven_dry: Annotated[Mass, in_range(1, 5000)]
    """Mass after the oven."""
    oven_dry_before: Annotated[Mass, in_range(1, 5000)] | None = None
    """Mass at the oven weighing two hours before, which shows that it no longer falls."""
    stated_mc: MoistureContent | None = None
    """MC written on the sheet."""


class ReSection(Record):
    """Sections cut again from a board late in drying, to correct its oven-dry mass."""

    at: Moment
    """When they were cut."""
    by: Name
    """Who."""
    board_mass: Mass
    """Mass of the board just before."""
    sections: list[Section]
    """The sections."""


class Board(Record):
    """A sample board."""

    id: Name
    """Tag."""
    species: Slug | None = None
    """Species, where the load is mixed."""
    thickness: Length | None = None
    """Thickness, where the load is mixed."""
    position: Name | None = None
    """Where it sits in the load."""
    side: Literal["entering-air", "leaving-air", "middle"] | None = None
    """Which side of the load."""
    chosen_as: Literal["wettest", "thickest", "typical", "driest"] = "typical"
    """Why it was chosen."""
    sections: Annotated[list[Section], Field(min_length=1)]
    """The sections cut from it before drying."""
    green_mass: Mass
    """Mass when the sections were cut."""
    weighed_at: Moment
    """When."""
    by: Name
    """Who."""
    stated_oven_dry_mass: Mass | None = None
    """Oven-dry mass written on the sheet."""
    resections: list[ReSection] = []
    """Later sections."""


class Weighing(Record):
    """One round of weighings."""

    at: Moment
    """When."""
    by: Name | None = None
    """Who weighed."""
    masses: dict[Name, Mass]
    """Mass of each board."""
    stated_mc: dict[Name, MoistureContent] = {}
    """MC written on the sheet."""
    stated_controlling_mc: MoistureContent | None = None
    """Controlling MC written on the sheet."""


class HandReading(Record):
    """Bulbs read by hand, with what the sheet says of them."""

    at: Moment
    """When."""
    by: Name | None = None
    """Who read."""
    dry_bulb: Temperature
    """Dry bulb."""
    wet_bulb: Temperature
    """Wet bulb."""
    stated_relative_humidity: Percent | None = None
    """RH written on the sheet."""
    stated_emc: Percent | None = None
    """EMC written on the sheet."""


class LogFile(Record):
    """A logger's own file."""

    file: Name
    """File name, beside this record."""
    profile: Slug
    """How it is read."""


class StepChange(Record):
    """The operator set the air of a step."""

    at: Moment
    """When."""
    step: Annotated[int, Field(ge=1, le=60)]
    """Step number, from 1."""
    by: Name | None = None
    """Who."""
    reason: Text | None = None
    """Why, where not by the rule."""


class Stop(Record):
    """The kiln stood still."""

    start: Moment
    """From."""
    end: Moment
    """To."""
    cause: Text
    """Why."""
    by: Name | None = None
    """Who wrote it down."""


class Event(Record):
    """Something else that happened."""

    at: Moment
    """When."""
    kind: Literal["wick changed", "fans reversed", "door opened", "sensor changed", "inspection",
                  "note"]
    """What."""
    by: Name | None = None
    """Who."""
    note: Text | None = None
    """In words."""


class Stage(Record):
    """Equalizing or conditioning as run."""

    start: Moment
    """Begun."""
    end: Moment
    """Ended."""
    dry_bulb: Temperature
    """Dry bulb set."""
    emc: Annotated[Percent, in_range(1, 30)]
    """EMC set."""
    by: Name | None = None
    """Who."""


class Reading(Record):
    """One piece of the final survey."""

    mc: Annotated[Percent, in_range(0, 100)]
    """As the meter showed it, or from the oven."""
    pack: Number | None = None
    """Pack."""
    position: Name | None = None
    """Position in the kiln."""


class OvenPair(Record):
    """The same piece by meter and by oven."""

    meter: Percent
    """Meter, corrected."""
    oven: Percent
    """Oven."""


class Survey(Record):
    """The final survey of moisture content."""

    at: Moment
    """When."""
    by: Name
    """Who."""
    method: Literal["resistance meter", "oven-dry sections"]
    """How."""
    instrument: Slug | None = None
    """The meter."""
    wood_temperature: Temperature | None = None
    """Temperature of the wood when measured."""
    calibration_temperature: Temperature | None = None
    """Temperature the meter's scale holds for."""
    corrected_for: list[Literal["temperature", "species"]] = []
    """Corrections already in the readings below; others are applied here, once."""
    depth: Length | None = None
    """Depth of the pins."""
    chosen: Literal["at random", "systematic", "convenience"] = "systematic"
    """How the pieces were picked; claims about the lot suppose random pieces."""
    readings: Annotated[list[Reading], Field(min_length=1)]
    """The readings."""
    oven_pairs: list[OvenPair] = []
    """Pieces measured both ways."""


class StressTest(Record):
    """Prong or slice tests of drying stress."""

    at: Moment
    """When."""
    by: Name
    """Who."""
    method: Literal["prong", "slice gap"]
    """How."""
    gaps: list[Length]
    """Inward movement of the prongs, or slice gap, one a section; outward is negative."""
    limit: Length
    """Largest gap that passes."""
    shell_mc: Percent | None = None
    """Mean MC of the shells."""
    core_mc: Percent | None = None
    """Mean MC of the cores."""


class DefectCount(Record):
    """Pieces with a defect."""

    defect: Defect
    """The defect."""
    pieces: Annotated[int, Field(ge=0)]
    """Pieces that have it."""
    of: Annotated[int, Field(ge=1)]
    """Pieces looked at."""
    worst: Length | None = None
    """Worst value, as in bow over 2 m (EN 1310)."""
    note: Text | None = None
    """In words."""


class CoreProbe(Record):
    """A probe in the core of a piece."""

    channel: Channel
    """The log channel."""
    thickness: Length
    """Thickness of the piece."""
    position: Name
    """Where in the load."""
    sealed: bool
    """The hole was sealed around the probe."""
    uncertainty: TemperatureDifference | None = None
    """Expanded uncertainty; otherwise from the kiln's instrument."""


class Bark(Record):
    """What bark was left on packaging timber."""

    widest: Length
    """Width of the widest patch; 0 mm where there is none."""
    largest: Area | None = None
    """Area of the largest patch among those too wide to be left at any length."""


class HeatTreatment(Record):
    """A claim that the core was heated, and the evidence for it."""

    claim: Name
    """The rule claimed, as in 'ISPM 15'."""
    threshold: Temperature
    """Core temperature required."""
    minutes: Annotated[float, Field(gt=0)]
    """Unbroken minutes required."""
    probes: list[CoreProbe]
    """The probes."""
    thickest_piece: Length | None = None
    """The thickest piece in the load."""
    bark: Bark | None = None
    """Residual bark, as inspected."""
    reviewed: Signature | None = None
    """Who reviewed the charts before marking."""


class Correction(Record):
    """A value changed after it was written, with the old one kept."""

    field: Name
    """What was changed, as in 'boards.S3.green_mass'."""
    old: Name
    """The old value."""
    new: Name
    """The new value."""
    reason: Text
    """Why."""
    by: Name
    """Who."""
    at: Moment
    """When."""


class Waiver(Record):
    """A signed reason for a finding."""

    check: Slug
    """The check."""
    reason: Text
    """Why it is accepted."""
    by: Name
    """Who."""
    at: Moment
    """When."""


class Charge(Record):
    """``content/charges/YEAR/ID/charge.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Number
    """The charge's number."""
    invented: bool = False
    """Made for show."""
    kiln: Slug
    """Kiln id."""
    schedule: Slug
    """Schedule id."""
    schedule_revision: Annotated[int, Field(ge=1)]
    """The revision that was run."""
    stock: Annotated[list[ChargeStock], Field(min_length=1)]
    """The timber."""
    target_mc: Annotated[Percent, in_range(3, 30)]
    """Final MC aimed at."""
    stacking: Stacking | None = None
    """How it was stacked."""
    loaded: Moment
    """Loaded."""
    started: Moment
    """Heating began."""
    ended: Moment
    """Drying, equalizing and conditioning ended."""
    unloaded: Moment
    """Drawn from the kiln."""
    control_rule: Literal["wettest half", "wettest board", "mean"] = "wettest half"
    """Which boards decide a step."""
    board_scale: Slug | None = None
    """Instrument the boards are weighed on."""
    scale_resolution: Mass | None = None
    """Smallest step the board scale shows."""
    balance_resolution: Mass | None = None
    """Smallest step the section balance shows."""
    boards: list[Board] = []
    """Sample boards."""
    weighings: list[Weighing] = []
    """Weighings, oldest first."""
    log: list[LogFile] = []
    """Logger files."""
    hand_readings: list[HandReading] = []
    """Bulbs read by hand."""
    step_changes: list[StepChange] = []
    """Step changes as made."""
    stops: list[Stop] = []
    """Declared stops."""
    events: list[Event] = []
    """Other events."""
    equalizing: Stage | None = None
    """Equalizing as run."""
    conditioning: Stage | None = None
    """Conditioning as run."""
    survey: Survey | None = None
    """Final survey."""
    stress: StressTest | None = None
    """Stress test."""
    defects: list[DefectCount] = []
    """Defects found."""
    heat_treatment: HeatTreatment | None = None
    """Heat-treatment claim."""
    energy: Energy | None = None
    """Metered energy."""
    condensate: Volume | None = None
    """Water collected, in a dehumidification kiln."""
    signatures: list[Signature] = []
    """Who signed the record."""
    corrections: list[Correction] = []
    """Corrections."""
    waivers: list[Waiver] = []
    """Waivers."""
    notes: Text | None = None
    """Free notes; never leave the mill."""
    cooled_for: Duration | None = None
    """Time cooled before the doors were opened."""
