"""What the dossier contains beyond the checks, against sums done another way or printed by others.

Sources are named beside each test; where none is, the expected value is worked out here by hand or
by scipy from the inputs, not by the code under test.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from scipy import stats
from tests.review.inline import (
    INTERVAL,
    KILN,
    STARTED,
    ZONE,
    day,
    limit,
    make_case,
    make_folder,
    make_lot_case,
    mass_for,
    resection,
)
from tests.reviewed import demo_mill

from kilnfolio.physics.air import relative_humidity
from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.records.folder import MillFolder
from kilnfolio.review import air_control, results
from kilnfolio.review.assessment import OWN_PACKS, WHOLE_CHARGE, chosen_readings, judge
from kilnfolio.review.dossier import BoardResult, Dossier
from kilnfolio.review.evidence import (
    ChargeEvidence,
    charge_evidence,
    kiln_evidence,
    schedule_evidence,
)
from kilnfolio.review.findings import Case
from kilnfolio.review.review import review_charge, survey_result
from kilnfolio.review.running import run_checks


def board(case: Case, name: str) -> BoardResult:
    return next(board for board in results.board_results(case) if board.id == name)


def flat(hours: np.ndarray, channels: dict[str, np.ndarray], depression: np.ndarray) -> None:
    """Hold the air at 43 °C with a given depression."""
    del hours
    channels["dry-bulb"][:] = 43.0
    channels["wet-bulb"][:] = 43.0 - depression
    channels["spray"][:] = 0.0


HOURS = np.arange(0, 252 + 1e-9, INTERVAL / 60)


def with_depression(depression: np.ndarray) -> Any:
    return lambda channels: flat(HOURS, channels, depression)


# --- sample boards --------------------------------------------------------------------------------


def test_a_later_section_corrects_the_board_from_then_on() -> None:
    """Sections at 10.4 and at 12.4 %: at the same board mass, 1.8 % less dry wood."""
    case = make_case({"boards.0.resections": [resection(12.4)]})
    found = board(case, "S1")
    first, second = found.estimates
    assert (first.source, second.source) == ("sections", "re-section")
    assert second.oven_dry_g == pytest.approx(second.mass_g / 1.124, abs=0.1)
    assert second.calculated_mc_pct == pytest.approx(10.44, abs=0.1)
    assert (first.weighings, second.weighings) == (9, 2)  # as cut, days 1 to 8; then 9 and 10
    assert second.used_from == STARTED + dt.timedelta(days=9)
    for point in found.points[-2:]:
        assert point.mc_pct == pytest.approx(100 * (point.mass_g / second.oven_dry_g - 1), abs=0.02)


def test_a_corrected_oven_dry_mass_does_not_count_as_drying() -> None:
    """Only the mass decides the loss: by hand, the grams lost divided by the oven-dry mass in use."""
    case = make_case({"boards.0.resections": [resection(12.4)]})
    before, after = board(case, "S1").points[-3:-1]
    dry = board(case, "S1").estimates[1].oven_dry_g
    by_hand = 100 * (before.mass_g - after.mass_g) / dry
    assert after.daily_loss_pct == pytest.approx(by_hand, abs=0.02)
    assert "rewetted" not in {f.check for f in run_checks(case) if f.outcome == "question"}


def test_running_half_the_day_doubles_the_loss_per_running_hour() -> None:
    """Fans on for twelve hours a day: the loss per running hour is twice a 24th of the day's."""

    def night_off(channels: dict[str, np.ndarray]) -> None:
        channels["fan"] = (HOURS % 24 < 12).astype(float)

    through, half = (board(make_case(log=log), "S3").points[2] for log in (None, night_off))
    assert through.running_hours == pytest.approx(24.0, abs=0.2)
    assert half.running_hours == pytest.approx(12.0, abs=0.4)
    assert through.hourly_loss_pct == pytest.approx(6.0 / 24, abs=0.005)
    assert half.hourly_loss_pct == pytest.approx(6.0 / 12, abs=0.02)
    assert half.daily_loss_pct == through.daily_loss_pct


def test_without_fans_in_the_log_running_hours_are_unknown() -> None:
    def no_fan(channels: dict[str, np.ndarray]) -> None:
        del channels["fan"]

    case = make_case(log=no_fan)
    assert {point.running_hours for point in board(case, "S1").points} == {None}
    air = results.air_result(case)
    assert air is not None
    assert air.running_hours is None


def test_the_safe_rate_is_given_with_the_fastest_loss() -> None:
    """8/4 takes the rate of 4/4 divided by 2.5 (Wengert, thick stock): 6.5 becomes 2.6."""
    assert board(make_case(), "S1").safe_daily_loss_pct == 6.5
    assert board(make_case({"stock.0.thickness": "8/4"}), "S1").safe_daily_loss_pct == 2.6
    # S1 from 62.4 to 56.2 % and on: six points a day, wetter by 4 %
    assert board(make_case(), "S1").fastest_daily_loss_pct == pytest.approx(6.24, abs=0.05)


def test_a_daily_loss_is_not_half_a_day_doubled() -> None:
    """4.0 points lost by day and 2.0 by night make 6.0 a day, within 6.5."""
    weighings = [
        {"at": day(0, hours), "by": "A. B.", "masses": {"S1": mass_for("S1", mc)}}
        for hours, mc in ((1, 60.0), (13, 56.0), (25, 54.0), (37, 50.0), (49, 48.0))
    ]
    case = make_case(
        {"boards": lambda boards: boards[:1], "weighings": weighings, "corrections": []}
    )
    assert not [f for f in run_checks(case) if f.check == "daily-loss" and f.outcome != "pass"]
    assert board(case, "S1").fastest_daily_loss_pct == pytest.approx(6.0, abs=0.1)


# --- air ------------------------------------------------------------------------------------------


def test_the_wick_index_is_the_slope_that_scipy_finds() -> None:
    """A depression that shrinks 0.3 K a day, with noise: scipy's line through the same readings."""
    noise = np.random.default_rng(4).normal(0, 0.12, len(HOURS))
    depression = 6.0 - 0.3 * HOURS / 24 + noise
    case = make_case({"equalizing": None, "conditioning": None}, log=with_depression(depression))
    found = results.air_result(case)
    assert found is not None
    assert found.wick is not None
    # the first step lasts until day 4; it has settled after some hours
    settled = (limit("settling-hours") <= HOURS) & (HOURS < 96)
    line = stats.linregress(HOURS[settled] / 24, depression[settled])
    assert line.slope == pytest.approx(-0.3, abs=0.02)
    assert found.wick.drift_k_per_day == pytest.approx(-0.3, abs=0.03)
    assert found.wick.worst_drift_k_per_day <= found.wick.drift_k_per_day
    assert found.wick.noise_k == pytest.approx(0.12, abs=0.01)


def test_a_constant_wick_has_no_drift() -> None:
    case = make_case(
        {"equalizing": None, "conditioning": None}, log=with_depression(np.full(len(HOURS), 6.0))
    )
    wick = air_control.wick_index(case.need_air(), case.asked, limit("settling-hours"))
    assert wick is not None
    assert (wick.drift_k_per_day, wick.noise_k) == pytest.approx((0.0, 0.0), abs=1e-9)


def test_a_warming_load_that_humidifies_its_air_is_not_taken_for_a_dry_wick() -> None:
    """While the kiln is far below its first set-point the depression shrinks by itself."""
    share = np.clip((HOURS - 0.5) / 0.5, 0.0, 1.0)

    def heating(channels: dict[str, np.ndarray], warm: float) -> None:
        channels["dry-bulb"][:] = np.where(HOURS < 6, warm, channels["dry-bulb"])
        early = HOURS < 6
        channels["wet-bulb"][early] = (channels["dry-bulb"] - 3.4 + 2.0 * share)[early]

    said = {
        warm: {
            f.check
            for f in run_checks(make_case(log=lambda c, w=warm: heating(c, w)))
            if f.outcome == "question"
        }
        for warm in (25.0, 43.0)
    }
    assert "dry-wick" not in said[25.0]
    assert "dry-wick" in said[43.0]


def test_overshoot_in_degree_hours() -> None:
    """1.5 K too hot for 20 h, everything else as set: 30 K h, by hand."""

    def hot(channels: dict[str, np.ndarray]) -> None:
        channels["dry-bulb"][:] = 43.0
        channels["dry-bulb"][(HOURS >= 40) & (HOURS < 60)] += 1.5
        channels["wet-bulb"][:] = channels["dry-bulb"] - 3.0

    changes = {
        "equalizing": None,
        "conditioning": None,
        "step_changes": [{"at": day(0), "step": 1, "by": "A. B."}],
    }
    air = results.air_result(make_case(changes, log=hot))
    assert air is not None
    assert air.dry_bulb_over_kh == pytest.approx(30.0, abs=0.3)
    assert air.depression_over_kh == 0.0


def test_a_gap_in_the_log_is_not_counted_as_hours() -> None:
    through, gap = (results.air_result(make_case(**shape)) for shape in ({}, {"gap": (50, 74)}))
    assert through is not None
    assert gap is not None
    assert through.logged_hours - gap.logged_hours == pytest.approx(24.0, abs=INTERVAL / 60 + 0.1)


def test_emc_uncertainty_by_drawing_the_bulbs_at_random() -> None:
    """The review's ± against the spread of EMC when the bulbs are drawn from their errors (JCGM
    101).

    At 60/40 °C, far from saturation, where the propagation is nearly linear.
    """
    errors = air_control.emc_errors([60.0], [40.0], (0.3, 0.3), 101325.0)
    chance = np.random.default_rng(11)
    dry = 60.0 + chance.normal(0, 0.15, 40_000)
    wet = 40.0 + chance.normal(0, 0.15, 40_000)
    emc = equilibrium_moisture_content(dry, relative_humidity(dry, wet))
    assert errors[0] == pytest.approx(2 * float(np.std(emc)), rel=0.05)


def test_emc_uncertainty_needs_both_bulbs_on_record() -> None:
    """The clean kiln's record gives an uncertainty for its dry bulb alone."""
    assert {point.emc_uncertainty_pct for point in results.set_points(make_case())} == {None}
    wet = {**KILN["instruments"][0], "id": "wick", "channel": "wet-bulb", "uncertainty": "0.4 K"}  # type: ignore[index]
    case = make_case({"kiln:instruments": lambda old: [*old, wet]})
    found = results.set_points(case)
    assert all(point.emc_uncertainty_pct for point in found)
    air = results.air_result(case)
    assert air is not None
    assert (air.dry_bulb_uncertainty_k, air.wet_bulb_uncertainty_k) == (0.5, 0.4)


# --- survey and lots ------------------------------------------------------------------------------


def test_tolerance_limits_of_the_survey_use_the_printed_factor() -> None:
    """48 readings, 95/95, two-sided: k = 2.426 between the printed 2.445 (45) and 2.414 (50).

    Printed factors: Hahn and Meeker, Statistical Intervals, table A.10b (from memory).
    """
    case = make_case()
    survey = survey_result(case)
    assert survey is not None
    low, high = survey.tolerance_low_pct, survey.tolerance_high_pct
    assert low is not None
    assert high is not None
    factor = (high - low) / 2 / survey.sd_pct
    assert 2.37 < factor < 2.48
    assert (low + high) / 2 == pytest.approx(survey.mean_pct, abs=0.01)


def test_a_lot_is_judged_by_the_readings_of_its_own_packs() -> None:
    """Pack P1 reads 8.0 %, P2 9.0 %; a lot of P1 alone is at 8.0."""
    readings = [{"mc": f"{8 + n % 2} %", "pack": f"P{n % 2 + 1}"} for n in range(40)]
    own = {"survey.readings": readings, "lot:packs": lambda packs: packs[:1]}
    chosen = chosen_readings(make_lot_case(own))
    assert (chosen.words, set(chosen.readings), chosen.of_charges) == (OWN_PACKS, {8.0}, 40)
    # one pack of the lot has no reading, so the whole charge is used
    bare = [{"mc": "8 %", "pack": "P1"}] * 20 + [{"mc": "9 %"}] * 20
    chosen = chosen_readings(make_lot_case({"survey.readings": bare}))
    assert (chosen.words, len(chosen.readings)) == (WHOLE_CHARGE, 40)


@pytest.mark.parametrize(
    ("inside", "outside", "more"),
    [(30, 0, 15), (44, 0, 1), (45, 0, 0), (45, 1, 72 - 46)],
)
def test_the_number_of_readings_the_ordered_claim_needs_is_right(
    inside: int, outside: int, more: int
) -> None:
    """93.5 % at 95 %: 45 without failure, 72 with one; by the binomial sum, worked here."""
    for n, failures, enough in ((45, 0, True), (44, 0, False), (72, 1, True), (71, 1, False)):
        assert (stats.binom.cdf(failures, n, 1 - 0.935) <= 0.05) is np.bool_(enough)
    readings = [{"mc": "8.0 %"}] * inside + [{"mc": "11.0 %"}] * outside
    judgement = judge(make_lot_case({"survey.readings": readings}))
    assert judgement.more_readings == more


def test_pieces_not_taken_at_random_support_no_claim_about_the_lot() -> None:
    judgement = judge(make_lot_case({"survey.chosen": "convenience"}))
    assert "say nothing about the boards not measured" in judgement.strongest
    picked = judge(make_lot_case())
    assert picked.strongest.startswith("At 95 % confidence, at least 93.9 %")  # 0.05^(1/48)


def test_a_customer_is_not_told_how_many_failed() -> None:
    readings = [{"mc": "8.0 %"}] * 40 + [{"mc": "11.0 %"}] * 8
    case = make_lot_case({"survey.readings": readings})
    judgement = judge(case)
    assert judgement.sentence == "The lot as measured does not meet the order."
    (said,) = [f.message for f in run_checks(case) if f.check == "lot-moisture"]
    assert "40 of 48" in said


# --- end of charge --------------------------------------------------------------------------------


def test_a_timed_schedule_starts_equalizing_without_an_mc() -> None:
    timed = {
        "schedule:steps": [
            {"dry_bulb": "43 °C", "depression": "4 K", "hours": "96 h"},
            {"dry_bulb": "60 °C", "depression": "25 K", "hours": "120 h"},
        ],
        "step_changes": [],
        "weighings.8.masses.S6": mass_for("S6", 4.0),
    }
    said = [f for f in run_checks(make_case(timed)) if f.check == "equalizing-start"]
    assert [f.outcome for f in said] == ["not applicable"]
    said = [
        f
        for f in run_checks(make_case({**timed, "equalizing.emc": "8 %"}))
        if f.check == "equalizing-start"
    ]
    assert [f.outcome for f in said] == ["question"]


def test_cost_and_ratio_of_metered_energy() -> None:
    """By hand: 0.11 CAD per kilowatt-hour, and metered energy divided by the least."""
    folder = demo_mill()
    dossier = review_charge(folder, "HB-25-048")
    water = dossier.water
    assert water is not None
    assert water.metered_kwh is not None
    assert water.cost == pytest.approx(0.11 * water.metered_kwh, abs=0.005)
    assert water.currency == "CAD"
    assert water.metered_over_least == pytest.approx(
        water.metered_kwh / water.least_heat_kwh, abs=0.005
    )


def test_a_tariff_is_a_price_with_a_currency() -> None:
    price = make_folder({"mill:energy_tariff": "0.084 EUR/kWh"}).mill.record.energy_price
    assert price == (0.084, "EUR")


# --- kilns and schedules --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def mill() -> MillFolder:
    return demo_mill()


@pytest.fixture(scope="module")
def dossiers(mill: MillFolder) -> dict[str, Dossier]:
    return {name: review_charge(mill, name) for name in mill.charges}


def evidence(mill: MillFolder, dossiers: dict[str, Dossier]) -> list[ChargeEvidence]:
    return [charge_evidence(mill.charges[name].record, dossiers[name]) for name in dossiers]


def test_the_dry_wick_has_the_steepest_drift_of_its_kiln(
    mill: MillFolder, dossiers: dict[str, Dossier]
) -> None:
    """The truth file plants it in HB-25-046, from 14 November 2025 on for 55 h."""
    kiln = mill.kilns["kiln-1"].record
    found = kiln_evidence(kiln.id, kiln.positions, evidence(mill, dossiers), 1.0)
    worst = min(
        (one for one in found.charges if one.wick), key=lambda one: one.wick.worst_drift_k_per_day
    )
    assert worst.charge == "HB-25-046"
    planted = dt.datetime(2025, 11, 14, 23, 34, tzinfo=ZONE)
    begun = worst.wick.worst_from
    assert planted - dt.timedelta(hours=24) <= begun <= planted + dt.timedelta(hours=55.5)


def test_the_cold_corner_shows_in_the_wet_spots(
    mill: MillFolder, dossiers: dict[str, Dossier]
) -> None:
    """Kiln 1's record says that the lower half of bay 6 is by the cold end wall and dries last."""
    kiln = mill.kilns["kiln-1"].record
    found = kiln_evidence(kiln.id, kiln.positions, evidence(mill, dossiers), 1.0)
    assert max(found.wet_spots, key=lambda spot: spot.points).position == "bay 6 low"
    assert found.surveys == len(found.charges)


def test_schedule_evidence_adds_up(mill: MillFolder, dossiers: dict[str, Dossier]) -> None:
    charges = {name: located.record for name, located in mill.charges.items()}
    schedules = {charge.schedule for charge in charges.values()}
    said = evidence(mill, dossiers)
    found = [one for name in schedules for one in schedule_evidence(name, said)]
    assert sorted(name for one in found for name in one.charges) == sorted(charges)
    for one in found:
        days = [
            (charges[name].ended - charges[name].started) / dt.timedelta(days=1)
            for name in one.charges
        ]
        assert one.mean_days == pytest.approx(np.mean(days), abs=0.06)
        assert one.pooled_sd_pct == pytest.approx(np.sqrt(np.mean(np.square(one.final_sds))))
        for share in one.defects:
            looked = [
                count
                for name in one.charges
                for count in charges[name].defects
                if count.defect == share.defect
            ]
            assert (share.pieces, share.of) == (
                sum(count.pieces for count in looked),
                sum(count.of for count in looked),
            )
