"""The reference tables: a column's sum shows a mistyped digit before it misleads a test."""

import math

import numpy as np
import pytest

# file: rows, columns, {column: (filled cells, sum)}
CHECKSUMS = {
    "emc_table.csv": (
        273,
        10,
        {
            "temp_c": (273, 15071.4),
            "temp_f": (273, 35864.0),
            "rh_pct": (273, 13415.0),
            "emc_pct": (273, 2317.4),
        },
    ),
    "kiln_psychrometric.csv": (
        149,
        11,
        {
            "dry_bulb_f": (149, 15560.0),
            "wet_bulb_depression_f": (149, 2192.0),
            "wet_bulb_f": (149, 13368.0),
            "rh_table_pct": (149, 8377.0),
            "rh_ferrel_pct": (149, 8397.24),
        },
    ),
    "psychro_computed.csv": (
        315,
        15,
        {
            "tdb_c": (315, 21780.0),
            "twb_c": (315, 17524.0),
            "pressure_kpa": (315, 29240.075),
            "rh_psychrolib_pct": (315, 17739.865),
            "rh_coolprop_pct": (312, 17476.227),
            "rh_ferrel_pct": (315, 17597.334),
            "w_psychrolib": (315, 211.219818),
            "w_coolprop": (312, 163.532507),
        },
    ),
    "sample_board_examples.csv": (
        17,
        10,
        {
            "weight": (11, 23399.99),
            "ovendry_weight": (11, 17144.735),
            "expected_mc_pct": (17, 708.379),
        },
    ),
    "species_properties.csv": (
        92,
        24,
        {
            "sg_green_fia": (80, 36.63),
            "sg_12_fia": (80, 39.99),
            "sg12_from_shrinkage": (77, 37.786),
            "shrink_radial_pct": (80, 351.1),
            "shrink_tangential_pct": (80, 638.7),
            "shrink_volumetric_pct": (77, 969.8),
        },
    ),
    "dimension_change.csv": (
        41,
        11,
        {"c_radial": (37, 0.05793), "c_tangential": (38, 0.11059), "change": (2, 1.767)},
    ),
    "diffusion_check.csv": (
        274,
        7,
        {"L": (225, 4300.16), "T_Dt_over_l2": (123, 106.861731), "value": (274, 1349.514228)},
    ),
    "assembled_schedules.csv": (
        90,
        16,
        {"dry_bulb_c": (90, 5288.8), "rh_pub_pct": (14, 883.0), "emc_pub_pct": (14, 147.9)},
    ),
}


@pytest.mark.parametrize("name", CHECKSUMS)
def test_table_has_its_shape_and_sums(reference, name):
    rows, columns, sums = CHECKSUMS[name]
    table = reference(name)
    assert len(table) == rows
    assert {len(row) for row in table.rows} == {columns}
    for column, (filled, total) in sums.items():
        cells = table[column]
        cells = cells[~np.isnan(cells)]
        assert (cells.size, math.fsum(cells)) == (filled, pytest.approx(total, abs=1e-6)), column


@pytest.mark.parametrize("name", CHECKSUMS)
def test_every_row_says_where_it_comes_from(reference, name):
    for row in reference(name).rows:
        assert row["provenance"].startswith(("read", "memory", "computed")), row
