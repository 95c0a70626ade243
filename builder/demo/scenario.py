"""Heron Bend Hardwoods, an invented mill: place, people, kilns, loggers."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from demo.chamber import TICK_MINUTES, KilnPhysics
from demo.exports import Sensor
from demo.instruments import METER_CALIBRATION_C, WAFER_LOW
from demo.library import ALTITUDE_M
from demo.yamltext import Line

ZONE = ZoneInfo("America/Toronto")
SUPERVISOR = "M. Okafor (invented)"
CREW = ("R. Tessaly (invented)", "J. Brandvik (invented)", "P. Quennevar (invented)")
STACKER, INSPECTOR = "L. Aubrey-Stone (invented)", "D. Haldimar (invented)"
YARD = "T. Wexcombe (invented)"

MILL = {
    "format": 1,
    "name": "Heron Bend Hardwoods",
    "invented": True,
    "place": "Heron Bend, eastern Ontario (invented)",
    "country": "Canada",
    "language": "en",
    "time_zone": "America/Toronto",
    "altitude": f"{ALTITUDE_M:.0f} m",
    "contact": {
        "name": "Records office",
        "email": "records@heron-bend.example",
        "phone": "+1 613 555 0142",
    },
    "records_address": "https://records.heron-bend.example",
    "energy_tariff": "0.11 CAD/kWh",
    "practice": "North American",
    "about": "An invented hardwood mill with three kilns. Every charge, board, reading and "
    "customer here was made up by a simulation to show what the records of a real mill "
    "could say.",
}

#: What drying costs; it stays in the mill edition.
PRICES = {
    "format": 1,
    "kiln_day": "95 CAD/day",
    "handling": "22 CAD/m³",
    "timber": "650 CAD/m³",
    "interest": "7 %",
}


def _order(
    number: str, customer: str, stock: dict[str, str], due: dt.date, charge: str = ""
) -> Any:
    record = {"format": 1, "id": number, "invented": True, "customer": f"{customer} (invented)"}
    dried_in = {"charges": [charge]} if charge else {}
    return record | stock | {"target_mc": "8 %", "due": due} | dried_in


def _stock(species: str, thickness: str, volume: str) -> dict[str, str]:
    return {"species": species, "thickness": thickness, "volume": volume}


#: Orders with due dates: two in running charges, one of them tight; the others go in next.
ORDERS = (
    _order(
        "26-291",
        "Quarry Lane Joiners",
        _stock("acer-saccharum", "4/4", "14 m³"),
        dt.date(2026, 10, 26),
        "HB-26-043",
    ),
    _order(
        "26-296",
        "Stillwater Flooring",
        _stock("quercus-rubra", "4/4", "30 m³"),
        dt.date(2026, 10, 24),
        "HB-26-042",
    ),
    _order(
        "26-303",
        "Tern Island Boats",
        _stock("prunus-serotina", "4/4", "12 m³"),
        dt.date(2026, 11, 20),
    ),
    _order(
        "26-304",
        "Quarry Lane Joiners",
        _stock("prunus-serotina", "4/4", "8 m³"),
        dt.date(2026, 11, 24),
    ),
    _order(
        "26-307",
        "Stillwater Flooring",
        _stock("quercus-alba", "4/4", "26 m³"),
        dt.date(2026, 11, 27),
    ),
)


@dataclass(frozen=True)
class KilnScene:
    """A kiln as built: its properties, the positions of packs, and the errors of its sensors.

    `warmer_k` is the temperature of each position relative to the kiln's mean. It never changes, so
    a wet spot shows in every survey.
    """

    physics: KilnPhysics
    pack_m3: float
    reversal_h: float
    warmer_k: dict[str, float]
    sensors: dict[str, Sensor]
    controller_errors: tuple[float, float]
    fahrenheit: bool = False

    @property
    def positions(self) -> list[str]:
        """Pack positions from the door inward."""
        return list(self.warmer_k)


def _bays(low: list[float], high: list[float]) -> dict[str, float]:
    return {
        f"bay {bay} {level}": offset
        for bay, pair in enumerate(zip(low, high, strict=True), start=1)
        for level, offset in zip(("low", "high"), pair, strict=True)
    }


_VENT = {
    "vent": Sensor(0.0, 0.0, 1.0),
    "spray": Sensor(0.0, 0.0, 1.0),
    "fan": Sensor(0.0, 0.0, 1.0),
}

_WAFER = Sensor(0.1, 0.08, 0.1)

KILNS = {
    "kiln-1": KilnScene(
        KilnPhysics(
            chamber_m3=150.0,
            heat_capacity=2600.0,
            losses=0.22,
            heating_kw=330.0,
            air_flow=34.0,
            vent=0.50,
            spray=0.18,
        ),
        3.5,
        3.0,
        _bays([-0.5, -0.2, -0.1, -0.1, -0.2, -0.9], [0.2, 0.4, 0.5, 0.4, 0.3, -0.1]),
        {
            "dry-bulb": Sensor(0.04, 0.06, 0.1),
            "dry-bulb-entering": Sensor(0.08, 0.07, 0.1),
            "dry-bulb-leaving": Sensor(-0.10, 0.07, 0.1),
            "wet-bulb": Sensor(-0.07, 0.05, 0.1),
            **_VENT,
            "emc": _WAFER,
            **{
                f"pin-{n}": Sensor(bias, 0.15, 0.1)
                for n, bias in enumerate((0.3, -0.4, 0.2), start=1)
            },
        },
        (0.05, -0.05),
    ),
    "kiln-2": KilnScene(
        KilnPhysics(
            chamber_m3=105.0,
            heat_capacity=1900.0,
            losses=0.27,
            heating_kw=330.0,
            air_flow=22.0,
            vent=0.42,
            spray=0.15,
            wetting_s=1100.0,
        ),
        3.5,
        2.0,
        _bays([-0.3, -0.1, 0.0, -0.7], [0.2, 0.4, 0.3, 0.1]),
        {
            "dry-bulb": Sensor(-0.06, 0.06, 0.1),
            "wet-bulb": Sensor(0.05, 0.05, 0.1),
            **_VENT,
            "emc": _WAFER,
            **{
                f"core-{n}": Sensor(bias, 0.03, 0.1)
                for n, bias in enumerate((0.05, -0.08, 0.04, -0.02), start=1)
            },
        },
        (-0.04, 0.03),
        True,
    ),
    "kiln-3": KilnScene(
        KilnPhysics(
            chamber_m3=75.0,
            heat_capacity=1300.0,
            losses=0.055,
            heating_kw=70.0,
            air_flow=12.0,
            vent=0.10,
            spray=0.018,
            compressor=0.018,
            compressor_kw=9.0,
            fan_kw=1.2,
            leak=0.002,
            drying_s=900.0,
        ),
        3.0,
        3.0,
        _bays([-0.4, -0.1, -0.6], [0.3, 0.4, 0.1]),
        {
            "dry-bulb": Sensor(0.05, 0.06, 0.1),
            "depression": Sensor(0.04, 0.06, 0.1),
            "relative-humidity": Sensor(0.8, 0.30, 0.1),
            **_VENT,
        },
        (0.03, -0.04),
    ),
}


def _instrument(
    name: str, kind: str, by: str, method: str, days: tuple[str, ...], **more: Any
) -> dict[str, Any]:
    return {
        "id": name,
        "kind": kind,
        **more,
        "calibrations": [Line(on=day, by=by, method=method) for day in days],
    }


_BATH = "stirred bath against a reference thermometer at 40, 60 and 80 °C"
_MASSES = "reference masses of 200 g, 1 kg and 5 kg"


def _common(days: tuple[str, ...]) -> list[dict[str, Any]]:
    return [
        _instrument("board-scale", "scale", INSPECTOR, _MASSES, days, resolution="1 g"),
        _instrument(
            "section-balance",
            "balance",
            INSPECTOR,
            "reference masses of 50 g and 200 g",
            days,
            resolution="0.1 g",
        ),
        _instrument(
            "section-oven",
            "oven",
            INSPECTOR,
            "reference thermometer at 103 °C on three shelves",
            days,
        ),
        _instrument(
            "pin-meter",
            "resistance meter",
            INSPECTOR,
            "resistance block at 12 and 18 %, then ten oven-dry pieces",
            days,
            resolution="0.1 %",
        ),
    ]


def _sensors(channels: list[tuple[str, str, str]], days: tuple[str, ...]) -> list[dict[str, Any]]:
    found = []
    for name, kind, channel in channels:
        uncertain = {} if kind == "humidity sensor" else {"uncertainty": "0.3 K"}
        method = _BATH if uncertain else "salt solutions at 33 and 75 % RH"
        found.append(
            _instrument(
                name,
                kind,
                INSPECTOR,
                method,
                days,
                channel=channel,
                **uncertain,
                resolution="0.1 %" if not uncertain else "0.1 °C",
            )
        )
    return found


def _moisture_sensors(prefix: str, pins: int, days: tuple[str, ...]) -> list[dict[str, Any]]:
    wafer = _instrument(
        f"{prefix}-wafer",
        "EMC sensor",
        INSPECTOR,
        "salt solutions at 33 and 75 % RH, with a new wafer",
        days,
        channel="emc",
        offset=WAFER_LOW,
        uncertainty_points=0.8,
        resolution="0.1 %",
    )
    return [
        wafer,
        *(
            _instrument(
                f"{prefix}-pins-{n}",
                "MC pins",
                INSPECTOR,
                "resistance block at 12 and 18 %",
                days,
                channel=f"pin-{n}",
                uncertainty_points=1.5,
                calibration_temperature=f"{METER_CALIBRATION_C:.0f} °C",
                corrected_for=["species"],
                resolution="0.1 %",
            )
            for n in range(1, pins + 1)
        ),
    ]


KILN_RECORDS = {
    "kiln-1": {
        "format": 1,
        "id": "kiln-1",
        "name": "Kiln 1",
        "kind": "steam",
        "capacity": "42 m³",
        "hottest": "90 °C",
        "air_speed": "2 m/s",
        "reversal": "3 h",
        "instruments": _sensors(
            [
                ("k1-control", "temperature sensor", "dry-bulb"),
                ("k1-entering", "temperature sensor", "dry-bulb-entering"),
                ("k1-leaving", "temperature sensor", "dry-bulb-leaving"),
                ("k1-wet-bulb", "wet-bulb sensor", "wet-bulb"),
            ],
            ("2026-06-22", "2026-01-08", "2025-07-14"),
        )
        + _moisture_sensors("k1", 3, ("2026-06-22", "2025-07-14"))
        + _common(("2026-06-23", "2025-09-09")),
        "notes": "The recorder has a wet bulb and wick of its own, apart from the controller's: a "
        "dry recorder wick spoils the record, not the air. Bay 6 low stands by the cold "
        "end wall and dries last. The three pin leads and the EMC sensor are plugged in for "
        "some loads only; the export then has four more columns.",
    },
    "kiln-2": {
        "format": 1,
        "id": "kiln-2",
        "name": "Kiln 2",
        "kind": "steam",
        "capacity": "28 m³",
        "hottest": "95 °C",
        "air_speed": "2.5 m/s",
        "reversal": "2 h",
        "instruments": _sensors(
            [
                ("k2-dry-bulb", "temperature sensor", "dry-bulb"),
                ("k2-wet-bulb", "wet-bulb sensor", "wet-bulb"),
                *((f"k2-core-{n}", "temperature sensor", f"core-{n}") for n in range(1, 5)),
            ],
            ("2026-08-17", "2026-01-09", "2025-08-18"),
        )
        + _moisture_sensors("k2", 0, ("2026-08-17",))
        + _common(("2026-06-23", "2025-09-09")),
        "notes": "The controller and the export are in Fahrenheit. The four core leads are plugged "
        "in for heat treatment only; the export then has four more columns. The EMC sensor "
        "is new. The clock of the export follows daylight saving.",
    },
    "kiln-3": {
        "format": 1,
        "id": "kiln-3",
        "name": "Kiln 3",
        "kind": "dehumidification",
        "capacity": "18 m³",
        "hottest": "65 °C",
        "air_speed": "1.5 m/s",
        "reversal": "3 h",
        "instruments": _sensors(
            [
                ("k3-dry-bulb", "temperature sensor", "dry-bulb"),
                ("k3-bulb-pair", "wet-bulb sensor", "depression"),
                ("k3-humidity", "humidity sensor", "relative-humidity"),
            ],
            ("2026-07-20", "2026-01-12", "2025-08-25"),
        )
        + _common(("2026-06-23", "2025-09-09")),
        "notes": "Electric heat and compressor; a water mist humidifies for conditioning. Vents "
        "open only against overheating and while a cold load warms up.",
    },
}
for _name, _record in KILN_RECORDS.items():
    _record["positions"] = KILNS[_name].positions


def _column(heading: str, channel: str, unit: str) -> Line:
    return Line(heading=heading, channel=channel, unit=unit)


_KILN_1: dict[str, Any] = {
    "format": 1,
    "id": "kiln-1-export",
    "title": "Export of the recorder on kiln 1: Celsius, winter time all year",
    "encoding": "utf-8",
    "delimiter": ";",
    "decimal": ".",
    "time": {"heading": "Date and time", "format": "%Y-%m-%d %H:%M", "clock": "standard"},
    "interval_minutes": 10,
    "columns": [
        _column("Control [°C]", "dry-bulb", "°C"),
        _column("Air in [°C]", "dry-bulb-entering", "°C"),
        _column("Air out [°C]", "dry-bulb-leaving", "°C"),
        _column("Wick [°C]", "wet-bulb", "°C"),
        _column("Vent [%]", "vent", "%"),
        _column("Spray", "spray", "on/off"),
        _column("Fan", "fan", "on/off"),
    ],
    "missing": ["-999"],
}
_KILN_2_COLUMNS = [
    _column("T dry", "dry-bulb", "°F"),
    _column("T wet", "wet-bulb", "°F"),
    _column("Vent", "vent", "%"),
    _column("Spray", "spray", "on/off"),
    _column("Fan", "fan", "on/off"),
]
_KILN_2: dict[str, Any] = {
    "format": 1,
    "id": "kiln-2-export",
    "title": "Export of the recorder on kiln 2: Fahrenheit with decimal commas, units on line two",
    "encoding": "windows-1252",
    "delimiter": ";",
    "decimal": ",",
    "heading_rows": 2,
    "names_row": 1,
    "time": {
        "heading": "Clock",
        "format": "%m/%d/%Y %H:%M",
        "clock": "local",
        "repeated_hour": "by row order",
    },
    "interval_minutes": 5,
    "columns": _KILN_2_COLUMNS,
    "missing": ["----"],
}
LOGGERS: dict[str, dict[str, Any]] = {
    "kiln-1-export": _KILN_1,
    "kiln-1-with-pins": {
        **_KILN_1,
        "id": "kiln-1-with-pins",
        "title": "The same recorder with its pin leads and EMC sensor plugged in",
        "columns": [
            *_KILN_1["columns"],
            *(_column(f"MC {n} [%]", f"pin-{n}", "%") for n in range(1, 4)),
            _column("EMC [%]", "emc", "%"),
        ],
    },
    "kiln-2-export": _KILN_2,
    "kiln-2-with-cores": {
        **_KILN_2,
        "id": "kiln-2-with-cores",
        "title": "The same recorder with its four core leads plugged in",
        "columns": [
            *_KILN_2_COLUMNS,
            *(_column(f"Core {n}", f"core-{n}", "°F") for n in range(1, 5)),
        ],
    },
    "kiln-2-with-wafer": {
        **_KILN_2,
        "id": "kiln-2-with-wafer",
        "title": "The same recorder with its EMC sensor plugged in",
        "columns": [*_KILN_2_COLUMNS, _column("EMC", "emc", "%")],
    },
    "kiln-3-export": {
        "format": 1,
        "id": "kiln-3-export",
        "title": "Export of the controller on kiln 3: dry bulb, depression and RH, in UTC",
        "encoding": "utf-8",
        "delimiter": ",",
        "decimal": ".",
        "time": {"heading": "utc", "format": "%Y-%m-%dT%H:%M:%SZ", "clock": "utc"},
        "interval_minutes": 15,
        "columns": [
            _column("dry_bulb_c", "dry-bulb", "°C"),
            _column("depression_k", "depression", "K"),
            _column("rh_pct", "relative-humidity", "%"),
            _column("mist", "spray", "on/off"),
            _column("fan", "fan", "on/off"),
        ],
        "ignored": ["Compressor [%]"],
        "missing": ["null"],
    },
}


def outside_temperatures(
    started: dt.datetime, chance: np.random.Generator, days: int = 75
) -> np.ndarray:
    """Return the outside temperature at each tick, from season, time of day and weather [°C]."""
    ticks = np.arange(days * 1440 // TICK_MINUTES)
    day = started.timetuple().tm_yday + started.hour / 24.0 + ticks * TICK_MINUTES / 1440.0
    season = 6.0 - 15.5 * np.cos(2 * np.pi * (day - 21.0) / 365.25)
    sun = -4.5 * np.cos(2 * np.pi * (day - 3.0 / 24.0))
    fronts = np.repeat(chance.normal(0.0, 4.5, days + 2), 1440 // TICK_MINUTES)
    width = 1440 // TICK_MINUTES
    weather = np.convolve(fronts, np.ones(width) / width, mode="full")[width : width + len(ticks)]
    return season + sun + weather
