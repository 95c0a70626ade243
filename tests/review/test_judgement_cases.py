"""Cases an examiner of drying would try: limits that fit the piece, the schedule followed, answers.

Limits are published points or common practice, named beside each case. The rest are general rules:
a limit falls with thickness, a deviation is found in either direction, a later event asks again.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from tests.review.inline import (
    BOARDS,
    INTERVAL,
    both,
    day,
    held,
    make_case,
    make_lot_case,
    mass_for,
)
from tests.review.rows_following import TIMED, air, timed
from tests.review.rows_rate import alone

from kilnfolio.physics.mixture import two_groups
from kilnfolio.physics.rules import conditioning_points, safe_rate
from kilnfolio.records.charge import Answer, Waiver
from kilnfolio.review.answers import answered, with_ids
from kilnfolio.review.dossier import Finding
from kilnfolio.review.drops import load_drop, unusual_drops
from kilnfolio.review.findings import CHECKS, accepted_answers
from kilnfolio.review.running import run_checks

#: Wengert's table for upland red oak (from memory): 4/4 and 8/4.
OAK = ([25.4, 50.8], [3.8, 1.5], 2.5)


def found(slug: str, changes: Any = None, **make: Any) -> list[Finding]:
    return [f for f in run_checks(make_case(changes or {}, **make)) if f.check == slug]


def words(slug: str, changes: Any = None, **make: Any) -> set[str]:
    return {f.word for f in found(slug, changes, **make)}


# --- limits that fit the piece --------------------------------------------------------------------


def test_the_safe_rate_goes_through_the_published_points() -> None:
    assert safe_rate(25.4, *OAK) == pytest.approx(3.8)
    assert safe_rate(50.8, *OAK) == pytest.approx(1.5)


def test_the_safe_rate_falls_strictly_and_continuously() -> None:
    thickness = np.arange(15.0, 120.01, 0.1)
    rates = safe_rate(thickness, *OAK)
    assert (np.diff(rates) < 0.0).all()
    assert np.abs(np.diff(rates) / rates[:-1]).max() < 0.012
    assert safe_rate(38.0, *OAK) == pytest.approx(safe_rate(38.1, *OAK), rel=0.01)


def test_twice_the_thickness_divides_the_rate_by_two_and_a_half_beyond_the_table() -> None:
    """Wengert: 8/4 stock takes the 4/4 rate divided by 2.5; the rule continues beyond 8/4."""
    assert safe_rate(101.6, *OAK) == pytest.approx(1.5 / 2.5)
    assert safe_rate(12.7, *OAK) == pytest.approx(3.8 * 2.5)


def test_a_rate_that_grows_with_thickness_is_refused() -> None:
    with pytest.raises(ValueError, match="must fall as the thickness grows"):
        safe_rate(30.0, [25.4, 50.8], [1.5, 3.8], 2.5)


@pytest.mark.parametrize(
    ("target", "above"),
    # hardwoods: +3 for targets of 5 to 7 %, +4 from 8 % (Dry Kiln Operator's Manual, from memory)
    [(5.0, 3.0), (7.0, 3.0), (8.0, 4.0), (12.0, 4.0), (7.5, 3.5)],
)
def test_conditioning_is_set_less_far_above_a_low_target(target: float, above: float) -> None:
    assert conditioning_points(target, 4.0, 3.0, 7.0, 8.0) == pytest.approx(above)


def test_conditioning_at_a_low_target_agrees_with_a_published_case() -> None:
    """Boards at 6.75 % conditioned at 9.6 % EMC: within half a point of the rule."""
    rule = 6.75 + float(conditioning_points(6.75, 4.0, 3.0, 7.0, 8.0))
    assert rule == pytest.approx(9.6, abs=0.5)


@pytest.mark.parametrize(
    ("thickness", "lost", "word"),
    [
        ("4/4", 6.4, "pass"),
        ("4/4", 6.8, "question"),
        ("5/4", 5.5, "question"),
        ("8/4", 2.5, "pass"),
        ("8/4", 2.9, "question"),
        ("12/4", 2.0, "fail"),
    ],
)
def test_daily_loss_is_judged_for_the_thickness(thickness: str, lost: float, word: str) -> None:
    """Hard maple: 6.5 points in 4/4 (Wengert, from memory), divided by 2.5 for twice the thickness."""
    assert word in words("daily-loss", alone(60.0, 60.0 - lost, thickness))


def test_one_board_still_wet_is_no_breach_of_the_ceiling_when_the_step_was_due() -> None:
    """Codes step on the controlling MC: one board at 33 % with the others below 30 % is allowed."""
    mcs = {**dict.fromkeys(BOARDS, 28.0), "S1": 33.0}
    at_six = {f"weighings.5.masses.{name}": mass_for(name, mc) for name, mc in mcs.items()}
    assert words("too-hot-while-wet", at_six) == {"pass"}


def test_the_ceiling_is_that_of_the_thickness() -> None:
    """8/4 stands 38 °C where 4/4 stands 44: on the 4/4 schedule it is too hot."""
    thick = {
        "stock.0.thickness": "8/4",
        "species:thick_ceilings": [
            {
                "thickness": "8/4",
                "dry_bulb": "38 °C",
                "while_above": "30 %",
                "source": "common practice",
                "status": "common practice",
            }
        ],
    }
    (first, *_) = found("too-hot-while-wet", thick)
    assert first.outcome == "fail"
    assert "can take 38.0 °C" in first.message


def test_air_the_schedule_asks_for_is_no_stain_condition_while_the_fans_run() -> None:
    """43 °C at a depression of 2 K is a correct step of thick oak."""
    assert words("stain-conditions", log=air(0, 96, 43.0, 2.0)) == {"pass"}


def test_wet_bulb_noise_near_saturation_is_not_a_shock() -> None:
    def noisy(channels: dict[str, np.ndarray]) -> None:
        rows = np.arange(len(channels["dry-bulb"]))
        channels["dry-bulb"][:] = 43.0
        channels["wet-bulb"][:] = 42.0 + 0.5 * (-1.0) ** rows

    assert words("shock-change", log=noisy) == {"pass"}


def test_a_modification_for_altitude_does_not_make_a_schedule_fit_thicker_timber() -> None:
    """The clean schedule is half a kelvin milder for altitude; that does not make it a 12/4
    schedule."""
    (said,) = found("thickness-rule", {"stock.0.thickness": "12/4"})
    assert said.outcome == "question"
    assert "not adjusted for 12/4" in said.message


def test_no_ceiling_is_invented_for_timber_thicker_than_the_species_sheet_covers() -> None:
    (said,) = found("too-hot-while-wet", {"stock.0.thickness": "12/4"})
    assert said.outcome == "no data"
    assert "no ceiling is on record for 12/4" in said.message.casefold()


def test_a_board_too_fast_for_days_gives_one_finding() -> None:
    """Six points a day where 12/4 stands 1.5: one answer per board, not per round."""
    said = found("daily-loss", {"stock.0.thickness": "12/4"})
    assert [f.subject for f in said] == list(BOARDS)
    assert all(f.outcome == "fail" for f in said)
    assert "up to 6.2 points a day at 6 weighings in a row" in said[0].message
    assert said[0].at == dt.datetime.fromisoformat("2026-04-07T08:00-04:00")


# --- following the schedule -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dry", "depression", "side"),
    [(43.0, 1.0, "too humid"), (35.0, 8.0, "too cold"), (43.0, 12.0, "too dry")],
)
def test_a_timed_schedule_is_judged_both_ways(dry: float, depression: float, side: str) -> None:
    changes = {**TIMED, "step_changes": []}
    log = both(air(0, 96, 43.0, 3.5), air(100, 116, dry, depression))
    (breach,) = found("air-as-asked", changes, log=log)
    assert side in breach.message
    assert breach.at is not None


def test_a_timed_schedule_run_in_half_its_hours_raises_a_question() -> None:
    assert words("step-hours", timed(48)) == {"question"}
    assert words("step-hours", timed(96)) == {"pass"}


def test_an_mc_based_schedule_run_too_humid_raises_a_question() -> None:
    (breach,) = found("air-as-asked", log=air(110, 20, 43.0, 4.0))
    assert breach.subject == "step 2"
    # it began at 110 h, 2026-04-10 22:00
    assert breach.at == dt.datetime.fromisoformat("2026-04-10T22:00-04:00")


def test_a_controller_swinging_around_its_set_point_keeps_to_it() -> None:
    def swinging(channels: dict[str, np.ndarray]) -> None:
        hours = np.arange(len(channels["dry-bulb"])) * INTERVAL / 60
        swing = 1.8 * np.sin(2 * np.pi * hours / 0.7)
        channels["dry-bulb"] += swing
        channels["wet-bulb"] += swing

    assert words("air-as-asked", log=swinging) == {"pass"}
    assert words("dry-bulb-overshoot", log=swinging) == {"pass"}


def test_heating_up_and_stops_are_not_departures_from_the_schedule() -> None:
    stop = {"stops": [{"start": day(1), "end": day(1, 8), "cause": "no power", "by": "A. B."}]}
    log = both(
        held("dry-bulb", 24, 10, to=30.0),
        held("wet-bulb", 24, 10, to=28.0),
        held("fan", 24, 8, to=0.0),
    )
    assert words("air-as-asked", stop, log=log) == {"pass"}


def test_the_first_hour_of_heating_up_is_not_too_dry() -> None:
    log = both(held("dry-bulb", 0, 1, to=25.0), held("wet-bulb", 0, 1, to=18.0))
    assert words("air-too-dry-while-wet", log=log) == {"pass"}


# --- the drop across the load ---------------------------------------------------------------------


def test_a_kiln_is_compared_with_its_own_earlier_charges() -> None:
    """Common practice: a drop a kelvin above the median of at least three earlier charges."""
    charges = [("A", 2.0, 0.6), ("B", 2.4, None), ("C", 2.2, 0.8), ("D", 3.3, 0.7), ("E", 3.1, 0.6)]
    (found,) = unusual_drops(charges, 1.0)
    assert (found.charge, found.stage, found.earlier) == ("D", "while wet", 3)
    assert (found.drop_k, found.usual_k) == (3.3, 2.2)
    assert not unusual_drops([*charges[:3], ("D", 3.2, 0.7)], 1.0)
    assert not unusual_drops(charges[1:4], 1.0)  # two earlier ones are too few


def test_the_drop_is_taken_with_the_fans_on_and_by_stage() -> None:
    """3 K across wet timber, 1 K later; a stop with the sides 9 K apart counts for neither."""

    def sides(channels: dict[str, np.ndarray]) -> None:
        hours = np.arange(len(channels["dry-bulb"])) * INTERVAL / 60
        fall = np.where(hours < 96, 3.0, 1.0)
        still = (hours >= 30) & (hours < 36)
        channels["fan"] = np.where(still, 0.0, 1.0)
        channels["dry-bulb-entering"] = channels["dry-bulb"] + np.where(still, 9.0, fall)
        channels["dry-bulb-leaving"] = channels["dry-bulb"].copy()

    found = load_drop(make_case(log=sides))
    assert found is not None
    assert (found.wet_k, found.later_k) == pytest.approx((3.0, 1.0))


# --- tags, groups ---------------------------------------------------------------------------------


def test_two_swapped_tags_are_reported_as_swapped() -> None:
    """From the fifth weighing on boards S1 and S6 carry each other's tag."""

    def swap(weighings: list[dict[str, Any]]) -> list[dict[str, Any]]:
        for weighing in weighings[4:]:
            masses = weighing["masses"]
            masses["S1"], masses["S6"] = masses["S6"], masses["S1"]
            weighing["stated_mc"] = {}
        return weighings

    said = [f.message for f in found("gained-weight-while-drying", {"weighings": swap})]
    assert said == [
        "Boards S1 and S6: the masses of 2026-04-11 08:00 would fit if their tags were "
        "swapped from this weighing on."
    ]


def test_one_normal_group_is_not_mistaken_for_two() -> None:
    """Five hundred surveys of 48 normal readings: very strong evidence of two groups is very rare."""
    chance = np.random.default_rng(1)
    surveys = chance.normal(8.0, 0.8, (500, 48)).round(1)
    assert sum(two_groups(one).evidence > 10.0 for one in surveys) <= 2


# --- answers --------------------------------------------------------------------------------------


def test_an_answer_covers_one_finding_and_no_later_event() -> None:
    early = {"step_changes.1.at": day(3, 1)}
    (first,) = found("step-timing", early)
    assert first.id == "step-timing/step-2/2026-04-09T09:00"
    answer = {
        "finding": first.id,
        "kind": "accepted because",
        "reason": "no shift",
        "by": "C. D.",
        "at": day(12),
    }
    (said,) = found("step-timing", early)
    assert said.outcome == "question"
    (said,) = _with_answers({**early, "answers": [answer]}, "step-timing")
    assert (said.outcome, said.answer_kind) == ("answered", "accepted because")
    later = {"step_changes.1.at": day(3, 3), "answers": [answer]}
    (said,) = _with_answers(later, "step-timing")
    assert said.outcome == "question"


def _with_answers(changes: dict[str, Any], slug: str) -> list[Finding]:
    case = make_case(changes)
    charge = case.charge
    return [f for f in run_checks(case, charge.answers, charge.waivers) if f.check == slug]


def test_an_answer_to_no_finding_raises_a_question() -> None:
    answer = {
        "finding": "step-timing/step-9/2026-04-09T09:00",
        "kind": "corrected by",
        "reason": "-x-",
        "by": "C. D.",
        "at": day(12),
    }
    said = _with_answers({"answers": [answer]}, "waivers-explained")
    assert [f.outcome for f in said] == ["question"]
    assert "no finding of this charge" in said[0].message


def answer_to(finding: str, kind: str) -> dict[str, Any]:
    return {"finding": finding, "kind": kind, "reason": "a reason", "by": "C. D.", "at": day(12)}


@pytest.mark.parametrize("kind", ["accepted because", "instrument at fault", "corrected by"])
def test_no_signature_clears_a_board_lighter_than_its_oven_dry_mass(kind: str) -> None:
    """A law of physics: the record must be corrected, or the claim is not made."""
    light = {"weighings.9.masses.S1": "1500 g"}
    (first,) = found("mass-below-oven-dry", light)
    given = {**light, "answers": [answer_to(first.id, kind)]}
    assert [f.outcome for f in _with_answers(given, "mass-below-oven-dry")] == ["fail"]
    (said,) = _with_answers(given, "waivers-explained")
    assert (said.outcome, said.subject) == ("question", first.id)
    assert "only correcting the record" in said.message


def test_a_wet_bulb_above_the_dry_bulb_is_answered_only_as_an_instrument_fault() -> None:
    def swapped(channels: dict[str, np.ndarray]) -> None:
        channels["wet-bulb"][40:60] = channels["dry-bulb"][40:60] + 2.0

    (first,) = found("wet-bulb-above-dry-bulb", log=swapped)
    for kind, outcome in (("accepted because", "fail"), ("instrument at fault", "answered")):
        case = make_case({"answers": [answer_to(first.id, kind)]}, log=swapped)
        said = run_checks(case, case.charge.answers)
        assert [f.outcome for f in said if f.check == first.check] == [outcome]


def test_a_claim_that_needs_evidence_takes_no_answer() -> None:
    """By ISPM 15 a core was hot for long enough or it was not; an order likewise is met or not."""
    for slug in ("heat-treatment-run", "air-record-alone", "residual-bark", "lot-moisture"):
        assert CHECKS[slug].answers == (), slug
    for slug in ("too-hot-while-wet", "equalizing-end", "stated-mc"):
        assert CHECKS[slug].answers, slug
    unclear = [c.slug for c in CHECKS.values() if c.severity != "fail" and not c.answers]
    assert not unclear


def test_a_question_about_a_lot_is_answered_in_its_record() -> None:
    late = {"lot:shipped": day(90)}
    asked = [f for f in run_checks(make_lot_case(late)) if f.outcome == "question"]
    assert asked
    answers = [answer_to(f.id, "accepted because") for f in asked]
    case = make_lot_case({**late, "lot:answers": answers})
    said = run_checks(case, case.lot.answers)
    assert {f.outcome for f in said if f.check in {a.check for a in asked}} == {"answered"}


def test_an_older_waiver_excuses_what_was_found_by_then() -> None:
    zone = dt.UTC
    waiver = Waiver.model_construct(
        check="spike", reason="known", by="C. D.", at=dt.datetime(2026, 4, 8, tzinfo=zone)
    )
    findings = with_ids(
        [
            Finding(
                check="spike",
                outcome="question",
                message="x",
                at=dt.datetime(2026, 4, 8 + days, tzinfo=zone),
            )
            for days in (-1, 1)
        ]
    )
    outcomes = [f.outcome for f in answered(findings, (), (waiver,), accepted_answers)]
    assert outcomes == ["answered", "question"]
    answer = Answer.model_construct(
        finding=findings[1].id,
        kind="instrument at fault",
        reason="loose wire",
        by="C. D.",
        at=waiver.at,
    )
    assert [f.outcome for f in answered(findings, (answer,), (), accepted_answers)] == [
        "question",
        "answered",
    ]


def test_a_finding_sealed_under_the_first_rules_is_read() -> None:
    old = {
        "check": "spike",
        "outcome": "waived",
        "message": "A jump.",
        "noted": False,
        "where": [],
        "subject": "",
        "value": None,
        "limit": None,
        "unit": "",
        "waived_by": "C. D.",
        "waived_because": "known",
    }
    read = Finding.model_validate(old)
    assert (read.outcome, read.answered_by, read.answered_because) == ("answered", "C. D.", "known")
    for before, now in (
        ("held", "pass"),
        ("query", "question"),
        ("refused", "fail"),
        ("not checked", "no data"),
    ):
        assert (
            Finding.model_validate(
                {**old, "outcome": before, "waived_by": "", "waived_because": ""}
            ).outcome
            == now
        )
