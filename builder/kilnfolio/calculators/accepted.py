"""The formulas a calculator may use, and the ranges of their arguments, taken from `physics`."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.calculators.form import Range
from kilnfolio.physics import (
    air,
    drying_core,
    meters,
    moisture,
    shrinkage,
    sorption,
    sums,
    survey,
    water,
)
from kilnfolio.records.quantities import Temperature, TemperatureDifference
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.working import Argument, Formula

_DB, _WB = Argument("dry_bulb", Temperature), Argument("wet_bulb", Temperature)
_OWN = (
    Formula(
        "depression",
        lambda dry_bulb, wet_bulb: sums.difference(dry_bulb, wet_bulb),
        (_DB, _WB),
        "depression = DB − WB",
        "{dry_bulb} − {wet_bulb}",
        "the definition",
        TemperatureDifference,
    ),
)

#: Every formula a calculator may use: the registry's, and one that only a form needs.
ALL_FORMULAS: Mapping[str, Formula] = {**FORMULAS, **{formula.name: formula for formula in _OWN}}

_MC = Range(*moisture.MC_RANGE_PCT)
_MASS = Range(0.0, moisture.LARGEST_MASS, above=True, open=True)
_BULB, _EMC_TEMP = Range(*air.BULB_RANGE_C), Range(*sorption.EMC_TEMP_RANGE_C)
_WET = Range(air.SATURATION_RANGE_C[0], air.BULB_RANGE_C[1])
_RH = Range(0.0, 100.0)
_ALTITUDE = Range(1000.0 * air.ALTITUDE_RANGE_M[0], 1000.0 * air.ALTITUDE_RANGE_M[1])
_SHARE = Range(0.0, 100.0, above=True, below=True)
_READINGS = Range(1.0, survey.MOST_READINGS, whole=True)
_BELOW_FSP = Range(0.0, shrinkage.FIBRE_SATURATION_PCT)
_VOLUME, _DENSITY = (
    Range(*water.VOLUME_RANGE_M3, above=True),
    Range(*water.BASIC_DENSITY_RANGE_KG_M3),
)
_LOAD = {"volume": _VOLUME, "basic_density": _DENSITY, "mc_from": _MC, "mc_to": _MC}

#: Ranges of each formula's arguments, as checked by `physics`.
RANGES: Mapping[str, Mapping[str, Range]] = {
    "moisture_content": {"mass": _MASS, "oven_dry_mass": _MASS},
    "oven_dry_mass": {"mass": _MASS, "mc": _MC},
    "mass_at": {"oven_dry_mass": _MASS, "mc": _MC},
    "relative_humidity": {"dry_bulb": _BULB, "wet_bulb": _WET, "altitude": _ALTITUDE},
    "pressure_at_altitude": {"altitude": _ALTITUDE},
    "equilibrium_moisture_content": {"temperature": _EMC_TEMP, "relative_humidity": _RH},
    "relative_humidity_for_emc": {"temperature": _EMC_TEMP},
    "wet_bulb": {"dry_bulb": _BULB, "relative_humidity": _RH, "altitude": _ALTITUDE},
    "dew_point": {"dry_bulb": _BULB, "relative_humidity": Range(0.0, 100.0, above=True)},
    "shrinkage_at": {
        "total": Range(*shrinkage.SHRINKAGE_RANGE_PCT),
        "mc": _MC,
        "fsp": Range(*shrinkage.FSP_RANGE_PCT),
    },
    "shrunk_size": {
        "size": Range(*sums.PIECE_RANGE_MM),
        "shrinkage": Range(*sums.SHRUNK_RANGE_PCT),
    },
    "dimension_change": {
        "size": Range(*shrinkage.SIZE_RANGE_MM, above=True),
        "coefficient": Range(*shrinkage.COEFFICIENT_RANGE),
        "mc_from": _BELOW_FSP,
        "mc_to": _BELOW_FSP,
    },
    "water_removed": _LOAD,
    "least_heat": {
        **_LOAD,
        "start_temperature": Range(*water.START_TEMP_RANGE_C),
        "temperature": Range(*water.KILN_TEMP_RANGE_C),
    },
    "core_time": {
        "thickness": Range(*drying_core.SIDE_RANGE_MM),
        "width": Range(*drying_core.SIDE_RANGE_MM),
        "gravity": Range(*drying_core.GRAVITY_RANGE),
        "wet_bulb": Range(*drying_core.WET_BULB_RANGE_C),
        "start": Range(*drying_core.INITIAL_RANGE_C),
        "target": Range(*drying_core.TARGET_RANGE_C),
    },
    "readings_needed": {"share": _SHARE, "confidence": _SHARE},
    "share_shown": {
        "readings": _READINGS,
        "failures": Range(0.0, survey.MOST_READINGS, whole=True),
        "confidence": _SHARE,
    },
    "drying_rate": {"mc_from": _MC, "mc_to": _MC, "time": Range(*moisture.HOURS_RANGE, above=True)},
    "meter_temperature_correction": {
        "reading": _MC,
        "wood_temperature": Range(*meters.WOOD_TEMP_RANGE_C),
        "calibration_temperature": Range(*meters.WOOD_TEMP_RANGE_C),
    },
}
