"""Weights and MC against EN 13183-1's arithmetic, printed examples and simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnfolio.physics import moisture

MC = st.floats(0, 400)
MASS = st.floats(1, 1e5)
BOARDS = st.lists(st.floats(3, 150), min_size=1, max_size=16)


def test_240_grams_wet_and_200_grams_dry_is_20_percent():
    """Common practice, no source: the example every operator learns."""
    assert moisture.moisture_content(240.0, 200.0) == 20.0


def test_printed_examples(reference):
    """Extension articles (read); an AH-188 example (from memory, on a rounded oven-dry weight)."""
    table = reference("sample_board_examples.csv").filled("weight", "ovendry_weight")
    for row in table.rows:
        dry = float(row["ovendry_weight"])
        found = moisture.moisture_content(float(row["weight"]), dry)
        half_digit = 0.5 * 10.0 ** -float(row["decimals"])
        # The calculated oven-dry mass is itself printed to 0.001 g in these rows.
        slack = 100.0 * float(row["weight"]) * 0.0005 / dry**2
        assert found == pytest.approx(float(row["expected_mc_pct"]), abs=half_digit + slack), row


def test_unrounded_oven_dry_weight_moves_the_old_example_by_a_tenth(reference):
    row = reference("sample_board_examples.csv").where(weight="3.75").rows[0]
    found = moisture.moisture_content(3.75, 2.6787)
    assert found == pytest.approx(float(row["expected_mc_pct"]), abs=0.11)


def test_a_board_with_two_sections_is_worked_out_as_in_the_example(reference):
    """The worked board: mean of the section MCs, oven-dry mass, later weighings."""
    rows = reference("sample_board_examples.csv").rows
    rows = [row for row in rows if row["case"].startswith("two-section sample board")]
    sections, board, later = rows[:2], rows[2], rows[3:]
    mcs = [
        moisture.moisture_content(float(r["weight"]), float(r["ovendry_weight"])) for r in sections
    ]
    dry = moisture.oven_dry_mass(float(board["weight"]), np.mean(mcs))
    assert dry == pytest.approx(float(board["ovendry_weight"]), abs=6e-4)
    found = moisture.moisture_content([float(r["weight"]) for r in later], dry)
    np.testing.assert_allclose(found, [float(r["expected_mc_pct"]) for r in later], atol=6e-4)
    assert len(later) == 4


def test_wet_basis_examples(reference):
    """Printed with the oven-dry method: 15, 18, 20 % dry basis are 13.0, 15.3, 16.7 % wet basis."""
    rows = {row["case"]: row for row in reference("sample_board_examples.csv").rows}
    for mc in (15, 18, 20):
        note = rows[f"wet-basis from dry-basis u={mc}%"]["note"]
        printed = float(note.removeprefix("printed wet-basis ").removesuffix(" %"))
        assert moisture.wet_basis(mc) == pytest.approx(printed, abs=0.051)
    for wet in (10, 20, 50):
        printed = float(rows[f"dry-basis from wet-basis w={wet}%"]["expected_mc_pct"])
        assert moisture.dry_basis(wet) == pytest.approx(printed, abs=0.051)


@given(MASS, MC)
def test_mass_and_mc_round_trip(dry, mc):
    mass = moisture.mass_at(dry, mc)
    assert moisture.moisture_content(max(mass, dry), dry) == pytest.approx(mc, abs=1e-9)
    assert moisture.oven_dry_mass(mass, mc) == pytest.approx(dry, rel=1e-12)


@given(MC)
def test_bases_round_trip_and_wet_is_the_smaller(mc):
    wet = moisture.wet_basis(mc)
    assert moisture.dry_basis(wet) == pytest.approx(mc, rel=1e-9, abs=1e-9)
    assert 0.0 <= wet <= np.nextafter(mc, np.inf)  # tiny MCs round up by the last bit
    assert wet < 100.0


# --- uncertainty ---


def test_uncertainty_against_simulation():
    """JCGM 101 (propagation of distributions): 400 000 draws of both masses."""
    draws = np.random.default_rng(20240229).standard_normal((2, 400_000))
    mcs = 100.0 * ((4862.0 + 5.0 * draws[0]) / (2769.0 + 8.0 * draws[1]) - 1.0)
    found = moisture.moisture_content_uncertainty(4862.0, 5.0, 2769.0, 8.0)
    # the simulation's own standard error is 0.0011
    assert found == pytest.approx(np.std(mcs), rel=0.006)


def test_oven_dry_uncertainty_against_simulation():
    draws = np.random.default_rng(20240301).standard_normal((2, 400_000))
    masses = 100.0 * (4862.0 + 5.0 * draws[0]) / (100.0 + 75.6 + 1.0 * draws[1])
    found = moisture.oven_dry_uncertainty(4862.0, 5.0, 75.6, 1.0)
    assert found == pytest.approx(np.std(masses), rel=0.006)


def test_five_grams_on_a_sample_board_shift_mc_by_0_18_point():
    """±5 g on 2.77 kg oven-dry is ±0.18 point of MC (arithmetic of the definition)."""
    found = moisture.moisture_content_uncertainty(2770.0, 5.0, 2770.0, 0.0)
    assert found == pytest.approx(0.18, abs=0.005)


def test_an_error_of_the_sections_carries_to_the_end():
    """Sections off by 1 point at 75.6 % move the board's MC near 8 % by 0.6 point."""
    dry = moisture.oven_dry_mass(4862.0, 75.6)
    error = moisture.oven_dry_uncertainty(4862.0, 0.0, 75.6, 1.0)
    mass = moisture.mass_at(dry, 8.0)
    found = moisture.moisture_content_uncertainty(mass, 0.0, dry, error)
    assert found == pytest.approx(0.6, abs=0.02)
    exact = moisture.moisture_content(mass, moisture.oven_dry_mass(4862.0, 76.6)) - 8.0
    assert found == pytest.approx(exact, rel=0.01)


def test_section_mean_uncertainty_of_a_pair_is_half_its_difference():
    assert moisture.section_mean_uncertainty([76.6, 74.6]) == pytest.approx(1.0, rel=1e-12)
    np.testing.assert_allclose(
        moisture.section_mean_uncertainty([[76.6, 74.6], [60.0, 60.0]]), [1.0, 0.0], rtol=1e-12
    )


def test_sections_that_agree_are_no_better_than_the_balance():
    """JCGM 101: 400 000 boards of one MC, two sections of 120 g weighed to 0.1 g."""
    draws = np.random.default_rng(20240302).uniform(-0.05, 0.05, (4, 400_000))
    each = [100.0 * ((204.0 + draws[n]) / (120.0 + draws[n + 1]) - 1.0) for n in (0, 2)]
    resolved = 0.1 / np.sqrt(12.0)
    error = moisture.moisture_content_uncertainty(204.0, resolved, 120.0, resolved)
    found = moisture.section_mean_uncertainty([70.0, 70.0], error)
    assert found == pytest.approx(np.std(np.mean(each, axis=0)), rel=0.006)
    assert moisture.section_mean_uncertainty([70.0], error) == pytest.approx(error, rel=1e-12)
    # 3-4-5 triangle: a spread of 0.6 and a mean error of 0.8
    assert moisture.section_mean_uncertainty([70.0, 71.2], 0.8 * np.sqrt(2.0)) == pytest.approx(
        1.0, rel=1e-12
    )


@given(MASS, st.floats(0, 50), st.floats(0, 50), MC)
def test_uncertainty_is_never_negative_and_both_masses_add_to_it(dry, first, second, mc):
    mass = max(moisture.mass_at(dry, mc), dry)
    only = moisture.moisture_content_uncertainty(mass, first, dry, 0.0)
    both = moisture.moisture_content_uncertainty(mass, first, dry, second)
    assert 0.0 <= only <= both


# --- the controlling half ---


@pytest.mark.parametrize(
    ("mcs", "boards"),
    [
        ([62.4, 58.1, 55.0, 51.7, 49.9, 46.2], [0, 1, 2]),
        ([20.0, 30.0, 40.0, 10.0, 50.0], [4, 2, 1]),  # the larger half of five
        ([18.0], [0]),
        ([25.0, 25.0, 25.0], [0, 1]),  # of equals, the first given
    ],
)
def test_the_wettest_half_controls(mcs, boards):
    """Common practice: the wettest half, of an odd number the larger."""
    assert moisture.controlling_boards(mcs).tolist() == boards
    expected = sum(mcs[i] for i in boards) / len(boards)
    assert moisture.controlling_moisture_content(mcs) == pytest.approx(expected, rel=1e-12)


@given(BOARDS, st.randoms())
def test_controlling_mc_is_between_mean_and_wettest_in_any_order(mcs, random):
    found = moisture.controlling_moisture_content(mcs)
    assert np.mean(mcs) - 1e-9 <= found <= max(mcs) + 1e-9
    shuffled = random.sample(mcs, len(mcs))
    assert moisture.controlling_moisture_content(shuffled) == pytest.approx(found, rel=1e-12)
    boards = moisture.controlling_boards(mcs)
    assert np.mean(np.array(mcs)[boards]) == pytest.approx(found, rel=1e-12)
    left_out = np.delete(mcs, boards)
    assert left_out.size == len(mcs) // 2
    assert left_out.size == 0 or left_out.max() <= np.array(mcs)[boards].min()


def test_controlling_mc_of_a_table_of_weighings():
    table = [[62.4, 58.1, 46.2], [40.0, np.nan, 38.0]]
    found = moisture.controlling_moisture_content(table)
    assert found[0] == pytest.approx(60.25)
    assert np.isnan(found[1])  # an unweighed board leaves the charge's MC unknown


# --- rate and greatest MC ------------------------------------------------------------------------


@given(st.floats(5, 100), st.floats(5, 100), st.floats(0.5, 500))
def test_drying_rate_is_proportional_and_antisymmetric(start, end, hours):
    rate = moisture.drying_rate(start, end, hours)
    assert rate == pytest.approx(-moisture.drying_rate(end, start, hours), abs=1e-12)
    assert rate * hours / 24.0 == pytest.approx(start - end, abs=1e-9)


def test_maximum_moisture_content():
    """Wood Handbook (2021) eq. 4-3: 268.4 and 46.2 %; its text prints 267 and 44, from 1.50."""
    found = moisture.maximum_moisture_content([0.30, 0.90])
    np.testing.assert_allclose(found, [268.4, 46.2], atol=0.05)
    np.testing.assert_allclose(found, [267.0, 44.0], atol=2.3)


def test_maximum_moisture_content_fills_all_space():
    """One litre of green wood: cell wall of 1.54 kg/l and the rest water, when nothing shrinks."""
    for gravity in (0.3, 0.56, 0.9):
        water = 1.0 - gravity / 1.54
        expected = 100.0 * water / gravity
        assert moisture.maximum_moisture_content(gravity) == pytest.approx(expected, rel=1e-12)


REFUSED = [
    (moisture.moisture_content, (199.0, 200.0), "mass must not be below oven_dry_mass.*199"),
    (moisture.moisture_content, (199.0, 0.0), "oven_dry_mass must lie above 0"),
    (moisture.moisture_content, ([240.0, 190.0], 200.0), "190, oven_dry_mass = 200 at index 1"),
    (moisture.oven_dry_mass, (4862.0, -5.0), "mc_pct must lie between 0 and 500 %"),
    (moisture.dry_basis, (95.0,), "wet_basis_pct must lie between 0 and 83.3"),
    (moisture.moisture_content_uncertainty, (240, -1, 200, 1), "mass_error.*-1"),
    (moisture.section_mean_uncertainty, ([75.0],), "section_mcs must hold at least 2; received 1"),
    (moisture.controlling_boards, ([],), "mcs must hold at least 1; received 0"),
    (moisture.controlling_boards, ([20.0, np.nan],), "a reading for every board.*index 1"),
    (moisture.controlling_moisture_content, ([20.0, 600.0],), "mcs must lie between 0 and 500 %"),
    (moisture.drying_rate, (40.0, 38.0, 0.0), "hours must lie above 0"),
    (moisture.maximum_moisture_content, (560.0,), "basic_specific_gravity.*560"),
]


@pytest.mark.parametrize(("function", "arguments", "message"), REFUSED)
def test_errors_name_argument_value_and_range(function, arguments, message):
    with pytest.raises(ValueError, match=message):
        function(*arguments)
