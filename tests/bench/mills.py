"""A mill of any size, the same every time: invented charges with ten lots each.

    make_mill(folder, charges=1000)

Its charges are air-dried hardwood going from 20 to 12 % MC in six days, spread over ten years and
24 kilns. Board masses fall exponentially toward the EMC of the logged air, sections agree with
their boards, and the log carries the noise of real sensors, so that every charge is reviewed whole.
Everything is written by format strings: a YAML dumper would take many times as long.
"""

from __future__ import annotations

import datetime as dt
import math
import random
import shutil
from collections.abc import Sequence
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]

SPECIES = (
    "acer-rubrum",
    "acer-saccharum",
    "prunus-serotina",
    "fraxinus-americana",
    "betula-alleghaniensis",
    "liriodendron-tulipifera",
)
KILNS = 24
FIRST, DAYS = dt.date(2016, 1, 4), 3640
POSITIONS = ("door low", "door high", "middle low", "middle high", "back low", "back high")
PEOPLE = ("R. Onslow (invented)", "T. Marchbank (invented)", "J. Pell (invented)")
BUYERS = ("Ashgrove Joinery (invented)", "Lowfield Floors (invented)", "Tern Doors (invented)")
PRODUCTS = ("boards", "strips", "stair parts", "door stock", "cabinet stock")
SLIPS = 97  # a prime, so that charges that share a table of noise start at different rows

MILL = """\
format: 1
name: Long Reach Group
invented: true
place: Nowhere (invented)
country: Canada
# No summer time there: the clock of every charge runs through.
time_zone: America/Regina
altitude: 310 m
contact: {name: Office, email: office@long-reach.example}
records_address: https://records.long-reach.example
practice: North American
"""

LOGGER = """\
format: 1
id: two-bulbs
title: Two bulbs, comma-separated
delimiter: ","
decimal: "."
interval_minutes: 30
time: {heading: time, format: "%Y-%m-%d %H:%M", clock: local}
columns:
  - {heading: DB, channel: dry-bulb, unit: °C}
  - {heading: WB, channel: wet-bulb, unit: °C}
"""

SCHEDULE = """\
format: 1
id: {species}-air-dried
title: "{species} 4/4, air-dried"
revision: 1
approved: {{by: R. Onslow (invented), on: 2015-06-01}}
for_stock: {{species: [{species}], thickness: [4/4], start: air-dried}}
steps:
  - {{dry_bulb: 50 °C, depression: 9 K, until_mc: 15.2 %}}
  - {{dry_bulb: 55 °C, depression: 13 K, until_mc: final}}
source: common practice
status: mill
invented: true
"""

KILN = """\
format: 1
id: kiln-{number}
name: Kiln {number}
kind: steam
capacity: 60 m³
hottest: 85 °C
positions: [{positions}]
instruments:
  - id: db
    kind: temperature sensor
    channel: dry-bulb
    uncertainty: 0.5 K
    calibrations: [{calibrations}]
  - id: wb
    kind: wet-bulb sensor
    channel: wet-bulb
    uncertainty: 0.5 K
    calibrations: [{calibrations}]
  - id: pins
    kind: resistance meter
    calibrations: [{calibrations}]
"""

CHARGE = """\
format: 1
id: {id}
invented: true
kiln: kiln-{kiln}
schedule: {species}-air-dried
schedule_revision: 1
stock:
  - species: {species}
    thickness: 4/4
    volume: 40 m³
    start: air-dried
    intake: [{{number: IN-{id}, supplier: Fen Hollow (invented), sawn: {sawn}}}]
target_mc: 12 %
stacking:
  by: {by}
  on: {stacked}
  packs: {{{packs}}}
loaded: {loaded}
started: {started}
ended: {ended}
unloaded: {unloaded}
scale_resolution: 1 g
balance_resolution: 0.1 g
boards:
{boards}weighings:
{weighings}log: [{{file: bulbs.csv, profile: two-bulbs}}]
step_changes:
  - {{at: {started}, step: 1, by: {by}}}
  - {{at: {step_2}, step: 2, by: {by}}}
survey:
  at: {surveyed}
  by: {by}
  method: resistance meter
  instrument: pins
  chosen: at random
  wood_temperature: 20 °C
  calibration_temperature: 20 °C
  corrected_for: [temperature, species]
  readings:
{readings}signatures: [{{by: {by}, on: {signed}}}]
"""

BOARD = """\
  - id: {id}
    position: {position}
    side: {side}
    chosen_as: {chosen}
    sections:
      - {{id: {id}a, green: {a:.1f} g, oven_dry: 100.0 g, stated_mc: {a_mc:.1f} %}}
      - {{id: {id}b, green: {b:.1f} g, oven_dry: 100.0 g, stated_mc: {b_mc:.1f} %}}
    green_mass: {green:.0f} g
    weighed_at: {at}
    by: {by}
"""

LOT = """\
format: 1
id: {id}
invented: true
product: "{product}, {species} 4/4"
species: {species}
thickness: 4/4
width: random widths
length: 2.4 m to 4.9 m
order: {{target_mc: 12 %, rule: band, lowest: 10 %, highest: 14 %, share: 90 %}}
packs:
  - {{number: {pack}, charge: {charge}, pieces: {pieces}, volume: {volume:.2f} m³}}
storage: {{temperature: 18 °C, relative_humidity: 60 %}}
heat_treatment_stated: false
shipped: {shipped}
customer: {{name: "{buyer}", order_number: PO {order}}}
issued: {issued}
"""


def make_mill(folder: Path, charges: int = 1000, lots_each: int = 10, seed: int = 1) -> Path:
    """Write a mill folder and return it.

    Parameters
    ----------
    folder : Path
        Where it goes; made if need be.
    charges, lots_each : int
        How many charges, and lots of each.
    seed : int
        Another seed gives another mill.
    """
    content = folder / "content"
    for name in ("schedules", "content/handbook", "content/demo-keys"):
        shutil.copytree(PROJECT / name, folder / name)
    for name in ("kilns", "loggers", "charges", "lots"):
        (content / name).mkdir()
    (content / "mill.yaml").write_text(MILL, "utf-8")
    (content / "loggers/two-bulbs.yaml").write_text(LOGGER, "utf-8")
    for species in SPECIES:
        path = folder / f"schedules/hardwood/{species}-air-dried.yaml"
        path.write_text(SCHEDULE.format(species=species), "utf-8")
    for number in range(1, KILNS + 1):
        (content / f"kilns/kiln-{number}.yaml").write_text(kiln_text(number), "utf-8")
    noise = noise_table(seed)
    for number in range(charges):
        _write_charge(content, number, charges, lots_each, random.Random(f"{seed} {number}"), noise)
    return folder


def charge_ids(charges: int) -> list[str]:
    """Return the numbers of the charges of a mill of that size, the oldest first."""
    return [_id(number, charges) for number in range(charges)]


def charge_file(folder: Path, identity: str) -> Path:
    """Return the record of a charge."""
    return folder / f"content/charges/20{identity[:2]}/{identity}/charge.yaml"


def kiln_text(number: int) -> str:
    """Return a kiln, its instruments calibrated twice a year."""
    calibrations = ", ".join(
        f"{{on: {year}-{month}-{10 + number % 15}, by: J. Pell (invented), method: ice point}}"
        for year in range(FIRST.year - 1, FIRST.year + 11)
        for month in ("01", "07")
    )
    return KILN.format(number=number, positions=", ".join(POSITIONS), calibrations=calibrations)


def noise_table(seed: int) -> list[tuple[str, str]]:
    """Return rows of both bulbs as the export writes them, one list for each of the two steps."""
    chance = random.Random(seed)
    rows = [(chance.gauss(0, 0.1), chance.gauss(0, 0.1)) for _ in range(289 + SLIPS)]
    return [
        (f"{50 + dry:.2f},{41 + wet:.2f}\n", f"{55 + dry:.2f},{42 + wet:.2f}\n")
        for dry, wet in rows
    ]


def _day(number: int, charges: int) -> dt.date:
    return FIRST + dt.timedelta(days=number * DAYS // charges)


def _id(number: int, charges: int) -> str:
    return f"{_day(number, charges):%y}-{number + 1:05d}"


def _write_charge(
    content: Path,
    number: int,
    charges: int,
    lots_each: int,
    chance: random.Random,
    noise: Sequence[tuple[str, str]],
) -> None:
    identity, species = _id(number, charges), SPECIES[number % len(SPECIES)]
    started = dt.datetime.combine(_day(number, charges), dt.time(6 + number % 5))
    path = content / f"charges/20{identity[:2]}/{identity}"
    path.mkdir(parents=True)
    text = charge_text(identity, number % KILNS + 1, species, started, lots_each, chance)
    (path / "charge.yaml").write_text(text, "utf-8")
    (path / "bulbs.csv").write_text(log_text(started, noise, number % SLIPS), "utf-8")
    for lot in range(1, lots_each + 1):
        text = lot_text(identity, lot, species, started, lots_each, chance)
        (content / f"lots/{identity}-{lot:02d}.yaml").write_text(text, "utf-8")


def charge_text(
    identity: str, kiln: int, species: str, started: dt.datetime, packs: int, chance: random.Random
) -> str:
    """Return a charge as a person would have typed it."""
    by = chance.choice(PEOPLE)
    boards = [
        (f"S{n}", chance.randint(1700, 2400), 20.2 - 0.25 * n + chance.uniform(-0.1, 0.1))
        for n in range(1, 7)
    ]

    def at(days: float = 0.0, hours: float = 0.0) -> str:
        return f"{started + dt.timedelta(days=days, hours=hours):%Y-%m-%dT%H:%M}"

    def mc(start: float, days: int) -> float:
        return 8.0 + (start - 8.0) * math.exp(-days / 5.6)

    weighings = "".join(
        f"  - {{at: {at(day)}, by: {by}, masses: {{"
        + ", ".join(
            f"{tag}: {dry * (1 + mc(start, day) / 100):.0f} g" for tag, dry, start in boards
        )
        + "}}\n"
        for day in range(7)
    )
    readings = "".join(
        f"    - {{mc: {12 + chance.uniform(-0.9, 0.9):.1f} %, "
        f"pack: {identity}-P{n % packs + 1:02d}, position: {POSITIONS[n % packs % 6]}}}\n"
        for n in range(max(4 * packs, 12))
    )
    return CHARGE.format(
        id=identity,
        kiln=kiln,
        species=species,
        by=by,
        sawn=at(-120)[:10],
        stacked=at(-1)[:10],
        packs=", ".join(f"{identity}-P{n + 1:02d}: {POSITIONS[n % 6]}" for n in range(packs)),
        loaded=at(hours=-1),
        started=at(),
        step_2=at(3),
        ended=at(6),
        unloaded=at(6.25),
        surveyed=at(6.5),
        signed=at(8)[:10],
        weighings=weighings,
        readings=readings,
        boards="".join(_board(n, *board, by, at(hours=-2)) for n, board in enumerate(boards)),
    )


def _board(place: int, tag: str, dry: int, mc: float, by: str, at: str) -> str:
    off = 0.2
    return BOARD.format(
        id=tag,
        position=POSITIONS[place],
        side=("entering-air", "leaving-air")[place % 2],
        chosen=("wettest", "typical", "thickest", "typical", "typical", "driest")[place],
        a=100 + mc + off,
        a_mc=mc + off,
        b=100 + mc - off,
        b_mc=mc - off,
        green=dry * (1 + mc / 100),
        at=at,
        by=by,
    )


def log_text(started: dt.datetime, noise: Sequence[tuple[str, str]], slip: int) -> str:
    """Return the logger's export: half-hourly bulbs, two steps."""
    days = [f"{started + dt.timedelta(days=n):%Y-%m-%d} " for n in range(7)]
    clock = [f"{minutes // 60:02d}:{minutes % 60:02d}," for minutes in range(0, 1440, 30)]
    first = 2 * started.hour
    rows = ["time,DB,WB\n"]
    for number in range(289):
        day, half_hour = divmod(first + number, 48)
        rows.append(days[day] + clock[half_hour] + noise[number + slip][number >= 144])
    return "".join(rows)


def lot_text(
    charge: str, number: int, species: str, started: dt.datetime, lots: int, chance: random.Random
) -> str:
    """Return a lot of one pack."""
    issued = started.date() + dt.timedelta(days=9 + number)
    return LOT.format(
        id=f"{charge}-{number:02d}",
        charge=charge,
        pack=f"{charge}-P{number:02d}",
        species=species,
        product=chance.choice(PRODUCTS).capitalize(),
        pieces=chance.randint(180, 240),
        volume=(36 + chance.uniform(-1, 1)) / lots,
        buyer=chance.choice(BUYERS),
        order=chance.randint(1000, 9999),
        issued=issued,
        shipped=f"{issued}T13:20",
    )
