"""A charge: everything the mill wrote down about drying one kiln load."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from kilnfolio.records import ranges
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
    record_error,
)
from kilnfolio.records.quantities import (
    Area,
    Duration,
    Energy,
    Length,
    Mass,
    Percent,
    Temperature,
    Volume,
)
from kilnfolio.records.region import ControlRule
from kilnfolio.records.schedule import DryBulb
from kilnfolio.records.species import Defect

#: No default here: the rule of the mill's region fills it in when a folder is read.
_NO_DEFAULT = Field(json_schema_extra=lambda schema: schema.__delitem__("default"))


class Intake(Record):
    """Where the timber came from. Never leaves the mill."""

    number: Name
    """The supplier's or yard's lot number."""
    supplier: Name | None = None
    """Who supplied the timber."""
    sawn: Day | None = None
    """The day the timber was sawn."""
    claim: Name | None = None
    """Certificate claim on the intake papers."""


class ChargeStock(Record):
    """One kind of timber in the charge."""

    species: Slug
    """Id of the species, as in schedules/species."""
    thickness: ranges.Thickness
    """Nominal thickness."""
    volume: ranges.LoadVolume
    """Volume loaded."""
    pieces: Annotated[int, Field(ge=1)] | None = None
    """Number of pieces loaded."""
    start: Literal["green", "air-dried"] = "green"
    """State at loading."""
    intake: list[Intake] = []
    """Supplier's lots it came from."""


class Stacking(Record):
    """How the load was stacked."""

    by: Name
    """Who stacked the load."""
    on: Day
    """The day it was stacked."""
    sticker_thickness: Length | None = None
    """Sticker thickness."""
    sticker_spacing: Length | None = None
    """Sticker spacing."""
    sticker_mc: Percent | None = None
    """Moisture content of the stickers."""
    baffles_closed: bool | None = None
    """Baffles closed against the load."""
    top_weight: Text | None = None
    """Weights or ties on top, in words."""
    packs: dict[Number, Name] = {}
    """Pack number to position in the kiln."""


class Section(Record):
    """A moisture section cut beside a sample board."""

    id: Name
    """Tag of the section, as in S3a."""
    green: Annotated[Mass, in_range(1, 5000)]
    """Mass when cut."""
    oven_dry: Annotated[Mass, in_range(1, 5000)]
    """Mass after the oven."""
    oven_dry_before: Annotated[Mass, in_range(1, 5000)] | None = None
    """Mass at the oven weighing two hours before, which shows that it is constant."""
    stated_mc: ranges.MoistureContent | None = None
    """MC written on the sheet."""


class ReSection(Record):
    """Sections cut again from a board late in drying, to correct its oven-dry mass."""

    at: Moment
    """When they were cut."""
    by: Name
    """Who cut and weighed them."""
    board_mass: ranges.BoardMass
    """Mass of the board just before."""
    sections: list[Section]
    """The sections cut from the board."""


class Board(Record):
    """A sample board."""

    id: Name
    """Tag of the board, as the weighings name it."""
    species: Slug | None = None
    """Species, if the load is mixed."""
    thickness: ranges.Thickness | None = None
    """Thickness, if the load is mixed."""
    position: Name | None = None
    """Where it sits in the load."""
    side: Literal["entering-air", "leaving-air", "middle"] | None = None
    """Which side of the load."""
    chosen_as: Literal["wettest", "thickest", "typical", "driest"] = "typical"
    """Why it was chosen."""
    sections: Annotated[list[Section], Field(json_schema_extra={"minItems": 1})]
    """The sections cut from it before drying; in an open charge also those still in the oven, which
    have no `oven_dry` yet."""
    green_mass: ranges.BoardMass
    """Mass when the sections were cut."""
    weighed_at: Moment
    """When the board was first weighed."""
    by: Name
    """Who cut and weighed it."""
    stated_oven_dry_mass: Mass | None = None
    """Oven-dry mass written on the sheet."""
    resections: list[ReSection] = []
    """Sections cut from it later, to correct its oven-dry mass."""


def _weighed(entered: object) -> object:
    """Refuse text in place of a mass that was not taken, saying what to do instead."""
    if isinstance(entered, str) and entered.strip() and not any(map(str.isdigit, entered)):
        raise record_error(
            entered,
            "it is not a mass",
            f"Write it as in '{Mass.example}'; leave a board out of a round in "
            "which it was not weighed",
        )
    return entered


class Weighing(Record):
    """One round of weighings."""

    at: Moment
    """When the boards were weighed."""
    by: Name | None = None
    """Who weighed them."""
    masses: dict[Name, Annotated[Mass, BeforeValidator(_weighed)]]
    """Mass of each board."""
    stated_mc: dict[Name, ranges.MoistureContent] = {}
    """MC written on the sheet."""
    stated_controlling_mc: ranges.MoistureContent | None = None
    """Controlling MC written on the sheet."""


class MeterReading(Record):
    """A reading of the kiln's energy meter."""

    at: Moment
    """When the meter was read."""
    by: Name | None = None
    """Who read it."""
    reading: Energy
    """What the meter shows: its running total, not what was used since the reading before."""


class McRound(Record):
    """MC of the boards at one time, without masses: by a meter, or from an older record."""

    at: Moment
    """When the MC was taken."""
    by: Name | None = None
    """Who took it."""
    method: Literal["hand meter", "pins", "as recorded"] = "as recorded"
    """How it was taken: a meter on the board, pins left in it, or copied from another record."""
    mc: Annotated[dict[Name, ranges.MoistureContent], Field(min_length=1)]
    """MC of each board by its tag. By meter it stands for the boards' MC where steps are judged; as
    recorded, for the forecast alone."""


class HandReading(Record):
    """Bulbs read by hand, with the values that the sheet states for them."""

    at: Moment
    """When the bulbs were read."""
    by: Name | None = None
    """Who read them."""
    dry_bulb: Temperature
    """Dry bulb as read."""
    wet_bulb: Temperature
    """Wet bulb as read."""
    stated_relative_humidity: Percent | None = None
    """RH written on the sheet."""
    stated_emc: Percent | None = None
    """EMC written on the sheet."""


class LogFile(Record):
    """A logger's own file."""

    file: Name
    """File name, beside this record."""
    profile: Slug
    """Id of the logger profile that reads it, as in content/loggers."""


class StepChange(Record):
    """The operator set the air of a step."""

    at: Moment
    """When the air was changed."""
    step: Annotated[int, Field(ge=1, le=60)]
    """Number of the step, from 1."""
    by: Name | None = None
    """Who set it."""
    reason: Text | None = None
    """Why, if not by the rule."""


class Stop(Record):
    """The kiln stopped."""

    start: Moment
    """When the kiln stopped."""
    end: Moment
    """When it ran again."""
    cause: Text
    """Why it was stopped."""
    by: Name | None = None
    """Who wrote it down."""


class Event(Record):
    """Something else that happened."""

    at: Moment
    """When it happened."""
    kind: Literal[
        "wick changed", "fans reversed", "door opened", "sensor changed", "inspection", "note"
    ]
    """What kind of event it was."""
    by: Name | None = None
    """Who wrote it down."""
    note: Text | None = None
    """What happened, in words."""


class Stage(Record):
    """Equalizing or conditioning as run."""

    start: Moment
    """When it began."""
    end: Moment
    """When it ended."""
    dry_bulb: DryBulb
    """Dry bulb set."""
    emc: Annotated[Percent, in_range(1, 30)]
    """EMC set."""
    by: Name | None = None
    """Who set it."""


class Reading(Record):
    """One piece of the final survey."""

    mc: Annotated[Percent, in_range(0, 100)]
    """The MC as shown by the meter, or from the oven."""
    pack: Number | None = None
    """Number of the pack the piece lay in."""
    position: Name | None = None
    """Where in the kiln the pack stood."""


class OvenPair(Record):
    """The same piece by meter and by oven."""

    meter: Percent
    """Meter, corrected."""
    oven: Percent
    """Oven."""


class Survey(Record):
    """The final survey of moisture content."""

    at: Moment
    """When the pieces were measured."""
    by: Name
    """Who measured them."""
    method: Literal["resistance meter", "oven-dry sections"]
    """How they were measured."""
    instrument: Slug | None = None
    """Id of the meter, among the kiln's instruments."""
    wood_temperature: ranges.WoodTemperature | None = None
    """Temperature of the wood when measured."""
    calibration_temperature: ranges.WoodTemperature | None = None
    """Temperature that the meter's scale assumes."""
    corrected_for: list[Literal["temperature", "species"]] = []
    """Corrections already in the readings below; others are applied here, once."""
    depth: Length | None = None
    """Depth of the pins."""
    chosen: Literal["at random", "systematic", "convenience"] = "systematic"
    """How the pieces were chosen; claims about the lot assume random pieces."""
    readings: Annotated[list[Reading], Field(min_length=1)]
    """The readings, one for each piece."""
    oven_pairs: list[OvenPair] = []
    """Pieces measured both ways."""


class StressTest(Record):
    """Prong or slice tests of drying stress."""

    at: Moment
    """When the sections were cut."""
    by: Name
    """Who tested them."""
    method: Literal["prong", "slice gap"]
    """How stress was shown."""
    gaps: list[Length]
    """Inward movement of the prongs, or slice gap, one per section; outward is negative."""
    limit: Length
    """Largest gap that passes."""
    shell_mc: Percent | None = None
    """Mean MC of the shells."""
    core_mc: Percent | None = None
    """Mean MC of the cores."""


class DefectPlace(Record):
    """Pieces with a defect among those of one pack."""

    position: Name
    """Where the pack stood, as the kiln's record names it."""
    pieces: Annotated[int, Field(ge=0)]
    """How many of its pieces have the defect."""
    of: Annotated[int, Field(ge=1)]
    """How many of its pieces were examined."""


class DefectCount(Record):
    """Pieces with a defect."""

    defect: Defect
    """The defect, as the atlas names it."""
    pieces: Annotated[int, Field(ge=0)]
    """How many pieces have it."""
    of: Annotated[int, Field(ge=1)]
    """How many pieces were examined."""
    worst: Length | None = None
    """Worst value, as in bow over 2 m (EN 1310)."""
    note: Text | None = None
    """What was seen, in words."""
    places: list[DefectPlace] = []
    """The same pieces by pack, if they were counted so; packs without the defect too."""

    @model_validator(mode="after")
    def _together(self) -> Self:
        for at, place in enumerate(self.places):
            if place.pieces > place.of:
                raise record_error(
                    place.pieces,
                    f"only {place.of} pieces of this pack were examined",
                    "Correct one of the two numbers",
                    at=("places", at, "pieces"),
                )
            if any(place.position == other.position for other in self.places[:at]):
                raise record_error(
                    place.position,
                    "this pack stands here twice",
                    "Add its pieces up in one line",
                    at=("places", at, "position"),
                )
        for name, whole in (("pieces", self.pieces), ("of", self.of)):
            counted = sum(getattr(place, name) for place in self.places)
            if counted > whole:
                raise record_error(
                    whole,
                    f"the packs have {counted} together",
                    f"Write the number of the whole charge under '{name}'",
                    at=(name,),
                )
        return self


class CoreProbe(Record):
    """A probe in the core of a piece."""

    channel: Channel
    """The log channel it writes, as in core-1."""
    thickness: Length
    """Thickness of the piece."""
    position: Name
    """Where in the load the piece lay."""
    sealed: bool
    """Whether the hole was sealed around the probe."""
    uncertainty: ranges.CoreUncertainty | None = None
    """Expanded uncertainty; by default that of the kiln's instrument."""


class Bark(Record):
    """What bark was left on packaging timber."""

    widest: Length
    """Width of the widest patch; 0 mm if there is none."""
    largest: Area | None = None
    """Area of the largest patch among those too wide to be left at any length."""


class HeatTreatment(Record):
    """A claim that the core was heated, and the evidence for it."""

    claim: Name
    """The rule claimed, as in 'ISPM 15'."""
    threshold: ranges.CoreTemperature
    """Core temperature required."""
    minutes: Annotated[float, Field(gt=0)]
    """Unbroken minutes required."""
    probes: list[CoreProbe]
    """The probes in the cores of the pieces."""
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
    """The value that was written before."""
    new: Name
    """The new value."""
    reason: Text
    """Why it was changed."""
    by: Name
    """Who changed it."""
    at: Moment
    """When it was changed."""


#: Kinds of answer: the finding is accepted, a reading was wrong, or something was done.
AnswerKind = Literal["accepted because", "instrument at fault", "corrected by"]


class Answer(Record):
    """A signed answer to one finding."""

    finding: Name
    """Id of the finding, as `kilnfolio check` prints it."""
    kind: AnswerKind
    """What the answer is: the finding is accepted, a reading was wrong, or something
    was done about it."""
    reason: Text
    """Why it is accepted, which instrument was at fault, or what corrected it."""
    by: Name
    """Who answers for that."""
    at: Moment
    """When it was answered."""


class Waiver(Record):
    """An answer in the older form, which names a check instead of a finding.

    It answers what that check had found by the time of signing. Use `answers` in new records.
    """

    check: Slug
    """Slug of the check, as in its finding."""
    reason: Text
    """Why the finding is accepted."""
    by: Name
    """Who answers for that."""
    at: Moment
    """When it was accepted."""


class Charge(Record):
    """``content/charges/YEAR/ID/charge.yaml``."""

    format: Literal[1]
    """The record format."""
    id: Number
    """The charge's number; its folder is named the same."""
    invented: bool = False
    """Made for show."""
    kiln: Slug
    """Id of the kiln, as in content/kilns."""
    schedule: Slug
    """Id of the schedule that was run, as in schedules/."""
    schedule_revision: Annotated[int, Field(ge=1)]
    """The revision that was run."""
    stock: Annotated[list[ChargeStock], Field(min_length=1)]
    """The timber, one entry for each species and thickness."""
    target_mc: Annotated[Percent, in_range(3, 30)]
    """Target MC."""
    stacking: Stacking | None = None
    """How the load was stacked, and the places of its packs."""
    loaded: Moment
    """When the load went into the kiln."""
    started: Moment
    """When heating began."""
    ended: Moment
    """When drying, equalizing and conditioning ended; until then the charge is not complete."""
    unloaded: Moment
    """When the load was drawn from the kiln."""
    control_rule: Annotated[ControlRule, _NO_DEFAULT] = "wettest half"
    """Rule for which boards decide a step; by default that of the mill's region."""
    board_scale: Slug | None = None
    """Instrument the boards are weighed on."""
    scale_resolution: Mass | None = None
    """Smallest step the board scale shows."""
    balance_resolution: Mass | None = None
    """Smallest step the section balance shows."""
    boards: list[Board] = []
    """The sample boards; without them no MC of the drying is recomputed."""
    weighings: list[Weighing] = []
    """Weighings, oldest first."""
    mc_rounds: list[McRound] = []
    """Rounds of MC without masses, as by hand meter, which cannot be recomputed."""
    log: list[LogFile] = []
    """The logger's own files, beside this record."""
    hand_readings: list[HandReading] = []
    """Bulbs read by hand, against which the log is checked."""
    step_changes: list[StepChange] = []
    """The step changes as they were made, step 1 included."""
    stops: list[Stop] = []
    """Times the kiln stopped, as declared."""
    events: list[Event] = []
    """Other events, such as a changed wick."""
    equalizing: Stage | None = None
    """Equalizing as it was run."""
    conditioning: Stage | None = None
    """Conditioning as it was run."""
    survey: Survey | None = None
    """The final survey of moisture content."""
    stress: StressTest | None = None
    """The stress test at the end."""
    defects: list[DefectCount] = []
    """Defects counted after drying."""
    heat_treatment: HeatTreatment | None = None
    """A heat-treatment claim with its evidence."""
    energy: Energy | None = None
    """Metered energy."""
    meter_readings: list[MeterReading] = []
    """Readings of the energy meter during the charge, oldest first."""
    condensate: Volume | None = None
    """Water collected, in a dehumidification kiln."""
    signatures: list[Signature] = []
    """Who signed the record."""
    corrections: list[Correction] = []
    """Values changed after they were written, with the old ones."""
    answers: list[Answer] = []
    """Signed answers to findings, one each."""
    waivers: list[Waiver] = []
    """Answers in the older form, which name a check instead of a finding."""
    notes: Text | None = None
    """Free notes; never leave the mill."""
    cooled_for: Duration | None = None
    """Time cooled before the doors were opened."""

    @property
    def loaded_green(self) -> bool:
        """Whether all the timber was loaded green, none of it air-dried."""
        return all(stock.start == "green" for stock in self.stock)

    def stock_of(self, board: Board) -> ChargeStock:
        """Return the timber that a board was cut from, by default the first."""
        fitting = (
            stock
            for stock in self.stock
            if board.species in (None, stock.species)
            and (board.thickness is None or board.thickness.value == stock.thickness.value)
        )
        return next(fitting, self.stock[0])
