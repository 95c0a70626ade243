"""The Dossier: everything the review of one charge found; immutable, and convertible to JSON.

The cache stores it, the seal signs it, pages show it and the audit recomputes it. Numbers are
rounded according to their uncertainty, so that the arithmetic of another machine gives the same
bytes; long series stay in their files and are represented by a digest and a summary.
"""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

#: pass: the rule is kept; question: needs a signed answer; fail: blocks the claim it concerns; no
#: data: something that should have been recorded is missing; not applicable: nothing of the kind
#: was claimed or run; answered: a question or failure with a signed answer.
Outcome = Literal["pass", "question", "fail", "no data", "not applicable", "answered"]

#: The outcome as printed: a note needs no answer and is not a pass.
Word = Literal["pass", "question", "fail", "no data", "not applicable", "answered", "note"]

#: The outcomes by severity, the most severe first.
BY_WEIGHT: tuple[Outcome, ...] = (
    "fail",
    "question",
    "answered",
    "no data",
    "not applicable",
    "pass",
)

#: Names of the outcomes in dossiers sealed under rules 1.
_UNDER_RULES_1 = {
    "held": "pass",
    "query": "question",
    "refused": "fail",
    "not checked": "no data",
    "waived": "answered",
}


def _is_empty(value: object) -> bool:
    return not value


class Part(BaseModel):
    """An immutable part of a dossier."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class Input(Part):
    """A file from which the dossier was computed."""

    path: str
    """Path relative to the mill folder."""
    sha256: str
    """Digest of its bytes, in hex."""
    size: int
    """Bytes."""


class Spot(Part):
    """A place in the inputs to which a finding points."""

    file: str
    """Path relative to the mill folder."""
    line: int
    """Line, from 1."""
    column: int = 1
    """Column, from 1."""


class Working(Part):
    """One computed number as a teacher would write it on the board."""

    name: str
    """What it is, as in 'MC of board S1'."""
    formula: str
    """The formula in symbols."""
    substituted: str
    """The formula with the values put in."""
    result: str
    """The result with its unit."""
    source: str
    """The source of the formula."""


class Finding(Part):
    """The result of one check of the charge."""

    check: str
    """Slug of the check."""
    outcome: Outcome
    """The outcome."""
    message: str
    """The sentence the operator reads."""
    title: str = Field("", exclude_if=_is_empty)
    """Title of a mill's own check, which other programs do not know; left out for others."""
    id: str = ""
    """Names a breach, so that one answer answers one finding; see `review.answers`."""
    noted: bool = False
    """Something was noticed that needs no answer; it is not a pass, but blocks nothing."""
    where: tuple[Spot, ...] = ()
    """The lines it refers to."""
    subject: str = ""
    """The board, probe, channel or step it concerns."""
    value: float | None = None
    """The number found."""
    limit: float | None = None
    """The number allowed."""
    unit: str = ""
    """Their unit."""
    at: dt.datetime | None = None
    """When it began, if it has a time."""
    answered_by: str = ""
    """Who answered it."""
    answer_kind: str = ""
    """Accepted because, instrument at fault, or corrected by."""
    answered_because: str = ""
    """The answer."""

    @model_validator(mode="before")
    @classmethod
    def _as_sealed(cls, values: Any) -> Any:
        """Accept a finding as written under rules 1."""
        if not isinstance(values, dict) or values.get("outcome") not in _UNDER_RULES_1:
            return values
        read = {key: value for key, value in values.items() if not key.startswith("waived_")}
        by = values.get("waived_by", "")
        return {
            **read,
            "outcome": _UNDER_RULES_1[values["outcome"]],
            "answered_by": by,
            "answered_because": values.get("waived_because", ""),
            "answer_kind": "accepted because" if by else "",
        }

    @property
    def word(self) -> Word:
        """The outcome as printed."""
        return "note" if self.noted and self.outcome == "pass" else self.outcome


class SectionResult(Part):
    """MC of a moisture section."""

    id: str
    """Tag."""
    green_g: float
    """Mass when cut [g]."""
    oven_dry_g: float
    """Oven-dry mass [g]."""
    mc_pct: float
    """MC [%]."""
    mc_uncertainty_pct: float
    """Expanded uncertainty, about 95 % [points]."""


class BoardPoint(Part):
    """A board at one weighing."""

    at: dt.datetime
    """When."""
    mass_g: float
    """Mass [g]."""
    mc_pct: float
    """MC [%]."""
    mc_uncertainty_pct: float
    """Expanded uncertainty, about 95 % [points]."""
    daily_loss_pct: float | None = None
    """Points of MC a day since the weighing before."""
    running_hours: float | None = None
    """Hours the fans ran since the weighing before [h]; None if the log does not say."""
    hourly_loss_pct: float | None = None
    """Points of MC for each of those hours."""


class OvenDryEstimate(Part):
    """One version of a board's oven-dry mass."""

    at: dt.datetime
    """When its sections were cut."""
    source: Literal["sections", "re-section"]
    """Cut before drying, or later to correct it."""
    mc_pct: float
    """Mean MC of its sections [%]."""
    mass_g: float
    """Mass of the board then [g]."""
    oven_dry_g: float
    """Oven-dry mass [g]."""
    oven_dry_uncertainty_g: float
    """Expanded uncertainty [g]."""
    calculated_mc_pct: float | None = None
    """MC then, by the version before [%]."""
    sections: tuple[SectionResult, ...] = ()
    """The sections from which it was computed."""
    weighings: int = 0
    """Number of weighings computed with it."""
    used_from: dt.datetime | None = None
    """The first of them."""


class BoardResult(Part):
    """A sample board throughout the charge."""

    id: str
    """Tag."""
    species: str
    """Species id."""
    position: str
    """Where it sat."""
    chosen_as: str
    """Why it was chosen."""
    sections: tuple[SectionResult, ...]
    """Its sections."""
    section_mean_mc_pct: float
    """Mean MC of the sections [%]."""
    green_g: float
    """Mass when the sections were cut [g]."""
    oven_dry_g: float
    """Oven-dry mass used [g]."""
    oven_dry_uncertainty_g: float
    """Expanded uncertainty [g]."""
    points: tuple[BoardPoint, ...]
    """Its weighings, the first when cut."""
    estimates: tuple[OvenDryEstimate, ...] = ()
    """The versions of its oven-dry mass, oldest first."""
    safe_daily_loss_pct: float | None = None
    """Safe loss for its species and thickness while wet [points a day]."""
    fastest_daily_loss_pct: float | None = None
    """Its fastest loss while wet [points a day]."""
    fastest_hourly_loss_pct: float | None = None
    """Its fastest loss while wet [points for each hour of running]."""


class ControlPoint(Part):
    """The controlling MC at one weighing."""

    at: dt.datetime
    """When."""
    mc_pct: float
    """Controlling MC [%]."""
    mean_pct: float
    """Mean of all boards [%]."""
    wettest_pct: float
    """Wettest board [%]."""
    driest_pct: float
    """Driest board [%]."""
    boards: tuple[str, ...]
    """The boards that decide."""


class AirPoint(Part):
    """Mean air over one interval of the summary."""

    at: dt.datetime
    """Middle of the interval."""
    dry_bulb_c: float | None = None
    """Dry bulb [°C]; None if no reading was used."""
    wet_bulb_c: float | None = None
    """Wet bulb [°C]."""
    relative_humidity_pct: float | None = None
    """RH [%]."""
    emc_pct: float | None = None
    """EMC [%]."""
    emc_uncertainty_pct: float | None = None
    """What the error of the two bulbs puts on it, about 95 % [points]; none where not on record."""


class SetPoint(Part):
    """The air that the schedule asks for from a given time on."""

    at: dt.datetime
    """From."""
    label: str
    """Step number, 'equalizing' or 'conditioning'."""
    dry_bulb_c: float
    """Dry bulb [°C]."""
    wet_bulb_c: float
    """Wet bulb [°C]."""
    relative_humidity_pct: float
    """RH [%]."""
    emc_pct: float
    """EMC [%]."""
    emc_uncertainty_pct: float | None = None
    """What the error of the two bulbs puts on it, about 95 % [points]; none where not on record."""


class WickIndex(Part):
    """How the depression behaved at constant set-points."""

    hours: float
    """Hours of constant set-points from which it was determined [h]."""
    drift_k_per_day: float
    """Mean slope of the depression, weighted by hours; negative for a wick that dries [K a day]."""
    worst_drift_k_per_day: float
    """Steepest fall of any stretch of about a day [K a day]."""
    worst_from: dt.datetime
    """When that stretch began."""
    noise_k: float
    """Scatter about those slopes, root mean square [K]."""


class AirResult(Part):
    """How the air was kept."""

    logged_hours: float
    """Hours covered by the log, without gaps [h]."""
    running_hours: float | None = None
    """Hours of them with the fans on [h]; None if the log does not say."""
    dry_bulb_over_kh: float | None = None
    """Dry bulb above what was asked, integrated over time [K h]."""
    depression_over_kh: float | None = None
    """Depression above what was asked, integrated over time [K h]."""
    zone_spread_k: float | None = None
    """Difference between entering and leaving air, median [K]."""
    zone_spread_most_k: float | None = None
    """The same difference, 95th percentile [K]."""
    load_drop_wet_k: float | None = None
    """The same difference with the fans on while the timber was wet, median [K]."""
    load_drop_later_k: float | None = None
    """The same once the timber was no longer wet, median [K]."""
    dry_bulb_uncertainty_k: float | None = None
    """Expanded uncertainty of the dry bulb, from the kiln's record [K]."""
    wet_bulb_uncertainty_k: float | None = None
    """Expanded uncertainty of the wet bulb, from the kiln's record [K]."""
    wick: WickIndex | None = None
    """The wick index; None without a wet bulb or a day of constant set-points."""


class StepReplay(Part):
    """One step change: the MC that triggered it, and whether it was due."""

    at: dt.datetime
    """When the air was set."""
    step: int
    """The step begun."""
    trigger_pct: float | None
    """Controlling MC at which it was due [%]; None in a timed schedule."""
    controlling_pct: float | None
    """Controlling MC at the last weighing before [%]."""
    boards: tuple[str, ...]
    """The boards that decided."""
    early_by_pct: float | None
    """Points above the trigger; negative when late."""
    verdict: Literal["due", "early", "late", ""] = ""
    """Verdict by the limits for early and late; empty if no MC decides."""
    waited_hours: float | None = None
    """Hours since a weighing showed it due [h]."""


class OutsideResult(Part):
    """Time outside the tolerance on one side, in one step."""

    side: Literal["too hot", "too cold", "too dry", "too humid"]
    """The side."""
    since: dt.datetime
    """When the longest stretch began."""
    hours: float
    """In all [h]."""
    longest_hours: float
    """The longest stretch [h]."""
    worst: float
    """Largest deviation from what was asked."""
    unit: str
    """K of dry bulb or of depression; points of EMC if the log has no wet bulb."""


class StepAdherence(Part):
    """One step, equalizing or conditioning: the air asked for and the air kept.

    Means are over the settled time with the fans running, without the approach to the set-point,
    stops and the recovery from them.
    """

    label: str
    """Step number, 'equalizing' or 'conditioning'."""
    step: int | None
    """Step number; None for equalizing and conditioning."""
    start: dt.datetime
    """Begun."""
    end: dt.datetime
    """Ended."""
    asked_dry_bulb_c: float
    """Dry bulb asked for [°C]."""
    asked_wet_bulb_c: float
    """Wet bulb asked for [°C]."""
    asked_emc_pct: float
    """EMC asked for [%]."""
    dry_bulb_c: float | None
    """Mean dry bulb kept [°C]."""
    wet_bulb_c: float | None
    """Mean wet bulb kept [°C]."""
    emc_pct: float | None
    """Mean EMC kept [%]."""
    hours_asked: float | None
    """Hours asked for, in a timed schedule [h]."""
    hours_run: float
    """Hours run, without stops [h]."""
    hours_to_reach: float | None
    """Hours until dry bulb and humidity were both within tolerance [h]; None if never."""
    hours_settled: float
    """Hours judged [h]."""
    hours_outside: float
    """Hours outside the tolerance, summed over both sides [h]."""
    outside: tuple[OutsideResult, ...]
    """Time outside on each side."""
    verdict: Literal["as asked", "not as asked", "no data"]
    """Verdict by the limit for hours outside."""


class Gap(Part):
    """A stretch without readings, or a declared stop."""

    start: dt.datetime
    """From."""
    end: dt.datetime
    """To."""
    kind: Literal["gap", "stop"]
    """Whether there are no readings, or the kiln stopped."""
    cause: str = ""
    """The cause, if recorded."""


class LogSummary(Part):
    """What the logger's files contain, and how much of it was used."""

    rows: int
    """Rows of data."""
    used: int
    """Rows with a time and at least one value used."""
    left_out: dict[str, int]
    """Rows and cells not used, by reason."""
    first: dt.datetime
    """First reading."""
    last: dt.datetime
    """Last reading."""
    interval_minutes: float
    """Interval of the profile [min]."""
    air: tuple[AirPoint, ...]
    """Mean air by interval, at most a few hundred points."""
    summary_hours: float
    """Length of those intervals [h]."""
    cores: dict[str, tuple[tuple[dt.datetime, float], ...]] = {}
    """Core temperatures by channel, sampled for the chart [°C]."""


class StageResult(Part):
    """Equalizing or conditioning against its rule."""

    start: dt.datetime
    """Begun."""
    end: dt.datetime
    """Ended."""
    set_emc_pct: float
    """EMC set [%]."""
    rule_emc_pct: float
    """EMC given by the rule [%]."""
    achieved_emc_pct: float | None
    """Mean EMC of the last half of the stage [%]."""
    driest_at_start_pct: float | None
    """Driest board at the weighing before the start [%]."""
    wettest_at_start_pct: float | None
    """Wettest board then [%]."""
    wettest_at_end_pct: float | None
    """Wettest board at the weighing nearest the end [%]."""
    driest_at_end_pct: float | None
    """Driest board then [%]."""
    hours: float
    """Length [h]."""


class SurveyResult(Part):
    """The final survey."""

    at: dt.datetime
    """When."""
    method: str
    """How."""
    readings: tuple[float, ...]
    """Corrected readings [% MC]."""
    positions: tuple[str, ...]
    """Position of each reading in the kiln; '' if not recorded."""
    packs: tuple[str, ...]
    """Pack of each reading; '' if not recorded."""
    correction_pct: float
    """Temperature correction applied to each reading here [points]."""
    correction_words: str
    """What was corrected, and by whom."""
    n: int
    """Readings."""
    mean_pct: float
    """Mean [% MC]."""
    sd_pct: float
    """Standard deviation [points]."""
    driest_pct: float
    """Driest [% MC]."""
    wettest_pct: float
    """Wettest [% MC]."""
    mean_low_pct: float
    """95 % confidence interval of the lot mean, lower end."""
    mean_high_pct: float
    """Upper end."""
    tolerance_low_pct: float | None = None
    """Lower limit that holds `tolerance_share_pct` of the load at 95 % confidence, if normal."""
    tolerance_high_pct: float | None = None
    """Upper limit."""
    tolerance_share_pct: float | None = None
    """Share of the load they hold [%]."""
    chosen: str = ""
    """How the pieces were chosen."""


class HeatRun(Part):
    """The longest unbroken run of one core probe."""

    channel: str
    """Log channel."""
    position: str
    """Where in the load."""
    threshold_c: float
    """Required [°C]."""
    required_minutes: float
    """Required [min]."""
    longest_minutes: float
    """Longest unbroken run at or above the threshold [min]."""
    start: dt.datetime | None
    """Begun."""
    end: dt.datetime | None
    """Ended."""
    highest_c: float
    """Highest reading [°C]."""
    uncertainty_k: float | None
    """Expanded uncertainty of the probe [K]."""


class WaterAndHeat(Part):
    """The water removed from a charge and the least heat that this needed."""

    volume_m3: float
    """Timber [m³]."""
    basic_density_kg_m3: float
    """Basic density, by volume over the stock [kg/m³]."""
    mc_from_pct: float
    """Mean MC of the boards at the start [%]."""
    mc_to_pct: float
    """Final mean MC [%]."""
    water_kg: float
    """Water removed [kg]."""
    least_heat_kwh: float
    """Least heat [kWh]."""
    metered_kwh: float | None
    """Metered energy [kWh]."""
    metered_over_least: float | None = None
    """Metered energy over the least heat."""
    cost: float | None = None
    """Cost of the metered energy, by the mill's tariff."""
    currency: str = ""
    """Currency of it."""
    tariff: str = ""
    """The tariff as entered."""


class Assessment(Part):
    """Whether a lot's readings meet its order."""

    rule: str
    """The rule in words, with its numbers."""
    met: bool | None
    """Whether the order is met; None if not assessed."""
    sentence: str
    """The statement for the customer."""
    mean_pct: float | None = None
    """Mean of the readings [% MC]."""
    mean_low_pct: float | None = None
    """Lowest lot mean the rule allows [% MC]."""
    mean_high_pct: float | None = None
    """Highest lot mean the rule allows [% MC]."""
    piece_low_pct: float | None = None
    """Driest piece the rule allows [% MC]."""
    piece_high_pct: float | None = None
    """Wettest piece the rule allows [% MC]."""
    share_asked_pct: float | None = None
    """Share of pieces that must lie within [%]."""
    inside: int | None = None
    """Readings within."""
    n: int = 0
    """Readings."""
    share_shown_pct: float | None = None
    """Share of the lot that these readings support at 95 % confidence, if chosen at random."""
    readings_needed: int | None = None
    """Readings needed to show the share asked, if all lie within."""
    readings_from: str = ""
    """Which readings were judged: the lot's own packs, or the whole charge."""
    strongest: str = ""
    """The strongest sentence about the whole lot that these readings support."""
    more_readings: int | None = None
    """Further readings, all within, that would show the share asked; None if no number would."""


class LotDossier(Part):
    """The review of one lot."""

    lot: str
    """Lot number."""
    charges: tuple[str, ...]
    """Its charges."""
    readings: tuple[float, ...]
    """Corrected readings of those charges' surveys [% MC]."""
    judgement: Assessment
    """The assessment against the order."""
    heat_treated: bool | None
    """Whether every charge's heat-treatment evidence passes; None if not asked or without it."""
    findings: tuple[Finding, ...]
    """Findings of the checks of lots."""


class Rules(Part):
    """The versions behind the review."""

    version: int
    """Version of the rules themselves; see `review.versions`."""
    kilnfolio: str
    """Version of kilnfolio."""
    limits_revision: int
    """Revision of schedules/limits.yaml."""
    schedule: str
    """Schedule id and revision."""
    pressure_pa: float
    """Air pressure used [Pa]."""
    psychrometer: str
    """How RH was computed from the bulbs."""
    emc_equation: str
    """The EMC equation."""
    own_code: str = Field("", exclude_if=_is_empty)
    """Digest of the mill's own checks: the SHA-256 of what ``sha256sum content/checks/*.py``
    prints. Left out if it has none."""


class Dossier(Part):
    """The review of one charge."""

    charge: str
    """Charge number."""
    invented: bool
    """Made for show."""
    kiln: str
    """Kiln id."""
    rules: Rules
    """The versions behind it."""
    inputs: tuple[Input, ...]
    """The files from which it was computed."""
    started: dt.datetime
    """Heating began."""
    ended: dt.datetime
    """Drying ended."""
    target_mc_pct: float
    """Target MC [%]."""
    boards: tuple[BoardResult, ...]
    """The sample boards."""
    control_rule: str
    """Which boards decide."""
    controlling: tuple[ControlPoint, ...]
    """Controlling MC by weighing."""
    log: LogSummary | None
    """The log."""
    set_points: tuple[SetPoint, ...]
    """What the schedule asked for, as run."""
    steps: tuple[StepReplay, ...]
    """Why each step was made."""
    adherence: tuple[StepAdherence, ...] = ()
    """How each step was kept; empty without a log or known set-points."""
    gaps: tuple[Gap, ...]
    """Gaps and stops."""
    equalizing: StageResult | None
    """Equalizing."""
    conditioning: StageResult | None
    """Conditioning."""
    survey: SurveyResult | None
    """Final survey."""
    heat: tuple[HeatRun, ...]
    """Heat-treatment evidence."""
    water: WaterAndHeat | None
    """Water and heat."""
    air: AirResult | None = None
    """How the air was kept; None without a log."""
    workings: tuple[Working, ...]
    """The arithmetic."""
    findings: tuple[Finding, ...]
    """Findings of the checks."""

    def outcome_of(self, *checks: str) -> Outcome:
        """Return the most severe outcome among the findings of `checks`, or of all by default."""
        found = {
            finding.outcome for finding in self.findings if not checks or finding.check in checks
        }
        return next((outcome for outcome in BY_WEIGHT if outcome in found), "no data")
