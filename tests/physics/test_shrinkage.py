"""Shrinkage and density against Wood Handbook tables 4-3 and 13-5 and its worked example."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnfolio.physics import shrinkage

# Table 13-5 prints these two with a sibling species' coefficients (white ash, yellow birch).
PRINTED_FOR_A_SIBLING = {"Ash, green", "Birch, sweet"}


def test_worked_example_of_eq_13_2(reference):
    """White fir, flatsawn, Wood Handbook p. 13-17/18: 232 mm swells 1.7 mm from 8 to 11 %."""
    rows = reference("dimension_change.csv").where(kind="worked_example", c_tangential="0.00245")
    for row in rows.rows:
        size, coefficient = float(row["dim_initial"]), float(row["c_tangential"])
        change = shrinkage.dimension_change(size, coefficient, 8.0, 11.0)
        printed = row["change"]
        half_digit = 0.5 * 10.0 ** -len(printed.partition(".")[2])
        assert change == pytest.approx(float(printed), abs=half_digit)
        assert change > 0.0  # swelling is positive


def test_the_rearranged_form_of_another_report_agrees(reference):
    """FPL-RP-489 form d2 = d1 (1 - S(M2))/(1 - S(M1)), S = 6.031 - 0.215 M.

    Its example prints 13.02 in, an arithmetic error of the source: its own formula gives 12.9885.
    """
    row = reference("dimension_change.csv").where(dim_initial="13.25").rows[0]
    assert "12.9885" in row["note"]
    fsp = 6.031 / 0.215
    change = shrinkage.dimension_change_from_shrinkage(13.25, 6.031, 19.0, 10.0, fsp)
    assert 13.25 + change == pytest.approx(12.9885, abs=6e-5)


def test_table_13_5_follows_from_table_4_3(reference):
    """Each printed coefficient is 1/(3000/S - 20) of the printed total shrinkage, to its digits."""
    totals = {row["species"]: row for row in reference("species_properties.csv").rows}
    checked = 0
    for row in reference("dimension_change.csv").where(kind="coefficient").rows:
        species = totals.get(row["item"])
        if species is None or row["item"] in PRINTED_FOR_A_SIBLING:
            continue
        for direction in ("radial", "tangential"):
            total = float(species[f"shrink_{direction}_pct"])
            found = shrinkage.coefficient_from_shrinkage(total)
            assert found == pytest.approx(float(row[f"c_{direction}"]), abs=2e-5), row["item"]
            checked += 1
    assert checked >= 40


def test_specific_gravity_at_12_percent(reference):
    """USDA FIA's basic and 12 % values (NRS-38, two decimals): within 0.02 for nine in ten."""
    table = reference("species_properties.csv").filled(
        "sg_green_fia", "sg_12_fia", "shrink_volumetric_pct"
    )
    arguments = table["sg_green_fia"], table["shrink_volumetric_pct"], 12.0
    found = shrinkage.specific_gravity_at(*arguments)
    np.testing.assert_allclose(found, table["sg12_from_shrinkage"], atol=6e-4)
    assert np.mean(np.abs(found - table["sg_12_fia"]) <= 0.0205) > 0.9
    # Wood Handbook eq. 4-14: mass of wood and water over the same volume.
    expected = 1000.0 * table["sg12_from_shrinkage"] * 1.12
    np.testing.assert_allclose(shrinkage.density_at(*arguments), expected, atol=0.6)


def test_volumetric_estimate_follows_the_species_on_average(reference):
    """Wood Handbook eq. 4-12 against table 4-3: right on average, loose for any one species."""
    table = reference("species_properties.csv").filled("sg_green_fia", "shrink_volumetric_pct")
    ratio = shrinkage.volumetric_shrinkage(table["sg_green_fia"]) / table["shrink_volumetric_pct"]
    assert np.median(ratio) == pytest.approx(1.0, abs=0.08)


def test_halfway_to_oven_dry_is_half_the_shrinkage():
    """Wood Handbook eq. 4-9 at MC = FSP/2, and its two ends, for the handbook's FSP of 30 %."""
    np.testing.assert_allclose(shrinkage.shrinkage_at(8.0, [60, 30, 15, 0]), [0, 0, 4, 8])


@given(st.floats(0, 20), st.floats(0, 120), st.floats(0, 120), st.floats(22, 35))
def test_shrinkage_is_bounded_and_falls_with_mc(total, first, second, fsp):
    dry, wet = sorted((first, second))
    at_dry, at_wet = shrinkage.shrinkage_at(total, [dry, wet], fsp)
    assert 0.0 <= at_wet <= at_dry <= total
    assert shrinkage.shrinkage_at(total, 0.0, fsp) == total
    assert shrinkage.shrinkage_at(total, fsp, fsp) == 0.0


@given(st.floats(10, 500), st.floats(1, 13), st.floats(0, 60), st.floats(0, 60))
def test_swelling_and_shrinking_back_restores_the_size(size, total, start, end):
    there = size + shrinkage.dimension_change_from_shrinkage(size, total, start, end)
    back = there + shrinkage.dimension_change_from_shrinkage(there, total, end, start)
    assert back == pytest.approx(size, rel=1e-12)


@given(st.floats(10, 500), st.floats(1, 13), st.floats(0, 30), st.floats(0, 30))
def test_eq_13_3_as_printed(size, total, start, end):
    """Wood Handbook eq. 13-3 (its limits read, the formula from memory): MI and MF up to 30 %."""
    expected = size * (end - start) / (3000.0 / total - 30.0 + start)
    found = shrinkage.dimension_change_from_shrinkage(size, total, start, end)
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(st.floats(10, 500), st.floats(1, 13), st.floats(6, 14), st.floats(6, 14))
def test_coefficient_and_shrinkage_agree_where_the_table_is_offered(size, total, start, end):
    coefficient = shrinkage.coefficient_from_shrinkage(total)
    by_table = shrinkage.dimension_change(size, coefficient, start, end)
    by_line = shrinkage.dimension_change_from_shrinkage(size, total, start, end)
    # Eq. 13-2 counts from the size at 10 %, eq. 13-3 from the current size; that is the whole
    # difference.
    between = abs(start - 10.0) / (3000.0 / total - 20.0)
    assert between < 0.02
    assert by_table == pytest.approx(by_line, rel=between + 1e-9, abs=1e-9)


@given(st.floats(0.25, 0.9), st.floats(5, 20), st.floats(0, 29), st.floats(0.1, 1))
def test_specific_gravity_rises_as_wood_dries(gravity, volumetric, mc, step):
    dry, wet = shrinkage.specific_gravity_at(gravity, volumetric, [mc, mc + step])
    assert dry > wet >= gravity


REFUSED = [
    (shrinkage.shrinkage_at, (50.0, 10.0), "total_pct must lie between 0 and 40 %"),
    (shrinkage.shrinkage_at, (5.0, 10.0, 0.3), "fsp_pct must lie between 15 and 45 %.*0.3"),
    (shrinkage.dimension_change, (232, 0.245, 8, 11), "coefficient must lie between 0 and 0.02"),
    (shrinkage.dimension_change, (232, 0.00245, 60, 8), "mc_from_pct must lie between 0 and 30 %"),
    (shrinkage.dimension_change, (0, 0.00245, 8, 11), "size_mm must lie above 0"),
    (shrinkage.coefficient_from_shrinkage, (0.0,), "total_pct must lie above 0"),
    (shrinkage.density_at, (560.0, 12.0, 12.0), "basic_specific_gravity.*560"),
]


@pytest.mark.parametrize(("function", "arguments", "message"), REFUSED)
def test_errors_name_argument_value_and_range(function, arguments, message):
    with pytest.raises(ValueError, match=message):
        function(*arguments)
