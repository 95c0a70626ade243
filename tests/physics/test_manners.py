"""What every physics function must do: scalars, arrays, gaps, docstrings, imports."""

import ast
import inspect
import re
import sys
from itertools import product

import numpy as np
import pytest
from tests.rows import each_of

import kilnfolio.physics
from kilnfolio.physics import (
    _check,
    _solve,
    _types,
    air,
    comparisons,
    control_chart,
    drying,
    drying_board,
    drying_core,
    drying_formula,
    drying_gradient,
    heat,
    measuring,
    meters,
    mixture,
    moisture,
    positions,
    rules,
    shrinkage,
    sorption,
    strength,
    sums,
    survey,
    water,
)

PUBLIC_MODULES = [
    air,
    comparisons,
    control_chart,
    drying,
    drying_board,
    drying_core,
    drying_formula,
    drying_gradient,
    heat,
    measuring,
    meters,
    mixture,
    moisture,
    positions,
    rules,
    shrinkage,
    sorption,
    strength,
    sums,
    survey,
    water,
]
MODULES = [_check, _solve, _types, *PUBLIC_MODULES]
FUNCTIONS = [
    member
    for module in PUBLIC_MODULES
    for name, member in vars(module).items()
    if callable(member)
    and not inspect.isclass(member)
    and not name.startswith("_")
    and member.__module__ == module.__name__
]

# One ordinary call of every function that works element by element.
ELEMENTWISE = {
    air.saturation_pressure: (60.0,),
    air.vapour_pressure: (60.0, 50.0),
    air.relative_humidity: (60.0, 50.0, 95000.0),
    air.vapour_pressure_of_bulbs: (60.0, 50.0, 95000.0),
    air.wet_bulb: (60.0, 50.0, 95000.0),
    air.dew_point: (60.0, 50.0),
    air.humidity_ratio: (60.0, 50.0, 95000.0),
    air.pressure_at_altitude: (310.0,),
    air.latent_heat: (60.0,),
    sorption.equilibrium_moisture_content: (60.0, 50.0),
    sorption.relative_humidity_for_emc: (60.0, 8.0),
    sorption.coefficients: (60.0,),
    sorption.emc_uncertainty: (60.0, 50.0, 0.3, 0.5, 95000.0),
    moisture.moisture_content: (240.0, 200.0),
    moisture.oven_dry_mass: (240.0, 20.0),
    moisture.mass_at: (200.0, 20.0),
    moisture.wet_basis: (20.0,),
    moisture.dry_basis: (20.0,),
    moisture.moisture_content_uncertainty: (240.0, 1.0, 200.0, 1.0),
    moisture.oven_dry_uncertainty: (240.0, 1.0, 20.0, 1.0),
    moisture.drying_rate: (40.0, 38.0, 24.0),
    moisture.maximum_moisture_content: (0.56,),
    meters.reading_at_calibration: (14.0, 45.0, 20.0, 0.1),
    shrinkage.shrinkage_at: (8.0, 12.0, 28.0),
    shrinkage.dimension_change: (232.0, 0.00245, 8.0, 11.0),
    shrinkage.dimension_change_from_shrinkage: (232.0, 8.0, 40.0, 11.0, 28.0),
    shrinkage.coefficient_from_shrinkage: (8.0, 10.0, 28.0),
    shrinkage.volumetric_shrinkage: (0.56,),
    shrinkage.specific_gravity_at: (0.56, 14.0, 12.0, 28.0),
    shrinkage.density_at: (0.56, 14.0, 12.0, 28.0),
    strength.strength_at: (99.0, 57.0, 16.0, 24.0),
    water.timber_mass: (40.0, 560.0, 60.0),
    water.split_water: (60.0, 28.0),
    water.water_removed: (40.0, 560.0, 60.0, 10.0),
    water.least_heat: (40.0, 560.0, 60.0, 10.0, 15.0, 60.0, 28.0),
    water.least_heat_parts: (40.0, 560.0, 60.0, 10.0, 15.0, 60.0, 28.0),
    survey.confidence_interval: (12.2, 0.86, 30, 0.95),
    survey.tolerance_factor: (30, 0.95, 0.95),
    survey.share_shown: (45, 1, 0.95),
    survey.mean_for_share_below: (19.0, 3.0, 0.95),
    drying_formula.temperature_factor: (60.0,),
    drying_formula.red_oak_tau: (25.4, 60.0),
    drying_formula.red_oak_days: (25.4, 60.0, 80.0, 20.0, 8.0),
    rules.equalizing_start: (8.0, 2.0),
    rules.equalizing_emc: (8.0, 2.0),
    rules.thickness_scaled_rate: (3.8, 38.0, 2.5, 25.4),
    rules.conditioning_emc: (8.0, 4.0),
    rules.conditioning_points: (7.5, 4.0, 3.0, 7.0, 8.0),
    sums.difference: (12.0, 8.0),
    sums.ratio: (8.6, 4.0),
    sums.interest: (19500.0, 7.0, 21.0),
    sums.volume_of_pieces: (240, 27.0, 180.0, 3000.0),
    shrinkage.shrunk_place: (100.0, 50.0, 4.0, 8.0),
    sums.shrunk_size: (150.0, 7.2),
    sums.green_size: (120.0, 7.2),
    sums.tolerance_limits_of: (12.0, 1.0, 10, 0.95, 0.95),
}

# These judge a whole series at once, count, or take a word; they have their own tests.
OVER_A_SERIES = {
    moisture.section_mean_uncertainty,
    moisture.controlling_boards,
    moisture.controlling_moisture_content,
    heat.longest_run,
    heat.longest_run_above,
    rules.safe_rate,
    mixture.two_groups,
    measuring.repeatability,
    measuring.fitted_correction,
    measuring.corrected_interval,
    measuring.last_digits,
    control_chart.control_limits,
    control_chart.beyond_limits,
    control_chart.runs_on_one_side,
    control_chart.width_for,
    control_chart.shift_scores,
    control_chart.shift_width_for,
    control_chart.change_point,
    control_chart.judged,
    comparisons.interval_of_mean,
    comparisons.difference_of_means,
    comparisons.rank_correlation,
    comparisons.corrected_for_many,
    comparisons.place_that_differs,
    comparisons.rank_that_stands_out,
    positions.position_effects,
    positions.load_model,
    positions.predicted_rest,
    positions.best_next,
    survey.summarize,
    survey.within_band,
    survey.tolerance_limits,
    survey.readings_needed,
    survey.chance_above,
    drying_board.advance,
    drying_board.dry,
    drying_core.core_time,
    drying_core.thermal_diffusivity,
    drying_gradient.gradient_index,
    sums.mean,
    sums.total,
    sums.combined_uncertainty,
}

BY_NAME = {"ids": lambda thing: getattr(thing, "__name__", None)}


def parts_of(result):
    return result if isinstance(result, tuple) else (result,)


def test_every_public_function_is_in_one_of_the_two_lists():
    assert set(FUNCTIONS) == set(ELEMENTWISE) | OVER_A_SERIES
    assert not set(ELEMENTWISE) & OVER_A_SERIES


@pytest.mark.parametrize("function", ELEMENTWISE, **BY_NAME)
def test_scalars_give_floats(function):
    for part in parts_of(function(*ELEMENTWISE[function])):
        assert type(part) is float
        assert np.isfinite(part)


@pytest.mark.parametrize("function", ELEMENTWISE, **BY_NAME)
def test_arrays_broadcast_and_agree_with_scalars(function):
    arguments = ELEMENTWISE[function]
    expected = parts_of(function(*arguments))
    for place in range(len(arguments)):
        lists = [[value] * 3 if i == place else value for i, value in enumerate(arguments)]
        columns = [
            np.full((2, 1), value) if i == place else value for i, value in enumerate(arguments)
        ]
        for given, shape in ((lists, (3,)), (columns, (2, 1))):
            for part, value in zip(parts_of(function(*given)), expected, strict=True):
                if np.ndim(part):  # a part that does not depend on this argument may stay a scalar
                    assert np.broadcast_shapes(part.shape, shape) == shape
                np.testing.assert_allclose(part, value, rtol=1e-12)
    whole = [np.full((2, 3), value) for value in arguments]
    for part, value in zip(parts_of(function(*whole)), expected, strict=True):
        assert part.shape == (2, 3)
        np.testing.assert_allclose(part, value, rtol=1e-12)


@pytest.mark.parametrize("function", ELEMENTWISE, **BY_NAME)
def test_a_gap_in_any_argument_gives_a_gap_in_the_result_and_nowhere_else(function):
    arguments = ELEMENTWISE[function]
    expected = parts_of(function(*arguments))
    for place in range(len(arguments)):
        gapped = [
            np.array([value, np.nan if i == place else value]) for i, value in enumerate(arguments)
        ]
        result = parts_of(function(*gapped))
        whole_is_gap = [np.isnan(part[1]) for part in result]
        # Where a result has several parts: those that depend on the argument.
        assert any(whole_is_gap) if len(result) > 1 else all(whole_is_gap)
        np.testing.assert_allclose([part[0] for part in result], expected, rtol=1e-12)


@each_of(ELEMENTWISE, name=lambda function: function.__name__)
def test_infinities_and_non_numbers_are_refused_by_argument_name(function):
    arguments = ELEMENTWISE[function]
    names = list(inspect.signature(function).parameters)
    for wrong, (place, name) in product(
        (np.inf, -np.inf, None, "20", True), enumerate(names[: len(arguments)])
    ):
        given = [wrong if i == place else value for i, value in enumerate(arguments)]
        with pytest.raises(ValueError, match=rf"\b{name}\b"):
            function(*given)


def test_masked_readings_are_gaps():
    masked = np.ma.masked_array([50.0, 99.0], mask=[False, True])
    found = air.relative_humidity(60.0, masked)
    np.testing.assert_array_equal(found, [air.relative_humidity(60.0, 50.0), np.nan])


def test_inputs_are_left_as_they_were():
    dry, wet = np.array([60.0, np.nan]), np.array([50.0, 50.0])
    before = dry.copy(), wet.copy()
    air.wet_bulb(dry, wet)
    sorption.emc_uncertainty(dry, wet, 0.3, 0.5)
    np.testing.assert_array_equal(dry, before[0])
    np.testing.assert_array_equal(wet, before[1])


# --- documentation ---


def section(text, title):
    """The body of one numpydoc section, or None."""
    match = re.search(rf"(?ms)^{title}\n-{{{len(title)}}}\n(.*?)(?=^[A-Z][a-z]+\n-+\n|\Z)", text)
    return match and match.group(1)


def documented_parameters(text):
    heads = re.findall(r"(?m)^(\w[\w, ]*?)(?: : .*)?$", section(text, "Parameters") or "")
    return [name for head in heads for name in head.split(", ")]


@each_of(FUNCTIONS, name=lambda function: function.__name__)
def test_docstring_parameters_equal_the_signature(function):
    text = inspect.getdoc(function)
    assert documented_parameters(text) == list(inspect.signature(function).parameters)
    for title in ("Returns", "Raises"):
        assert section(text, title), f"{function.__name__} has no {title} section"
    assert "ValueError" in section(text, "Raises")
    assert re.match(r"Return .*\.$", text.partition("\n")[0])


@pytest.mark.parametrize("module", PUBLIC_MODULES, ids=lambda module: module.__name__)
def test_cited_and_listed_references_are_the_same(module):
    source = inspect.getsource(module)
    listed = set(re.findall(r"(?m)^\.\. \[(\d)\]", source))
    cited = set(re.findall(r"\[(\d)\]_", source))
    assert cited == listed


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_every_public_constant_says_what_it_is(module):
    body = ast.parse(inspect.getsource(module)).body
    for node, after in zip(body, [*body[1:], None], strict=True):
        target = getattr(node, "target", None) or getattr(node, "targets", [None])[0]
        if not isinstance(target, ast.Name) or target.id.startswith("_"):
            continue
        documented = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
        assert documented, f"{module.__name__}.{target.id}"


def test_the_package_docstring_lists_every_module():
    rooms = {module.__name__.rpartition(".")[2] for module in PUBLIC_MODULES}
    assert set(re.findall(r"(?m)^`(\w+)`  ", kilnfolio.physics.__doc__)) == rooms


# --- imports ---


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_physics_imports_only_numbers_and_itself(module):
    allowed = {"numpy", "scipy", *sys.stdlib_module_names}
    for node in ast.walk(ast.parse(inspect.getsource(module))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module]
        else:
            continue
        for name in names:
            assert name.partition(".")[0] in allowed or name.startswith("kilnfolio.physics"), name
