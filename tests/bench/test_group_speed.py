"""A group of 10 mills with 1,000 charges each, against reading its lines as plain JSON.

Run by name: sh builder/run test tests/bench -s. KILNFOLIO_BENCH_MILLS names another number of mills.
"""

import datetime as dt
import json
import os
import random

from tests.bench.harness import resident_mb, timed
from tests.minimal import minimal_mill

from kilnfolio.api import open_mill
from kilnfolio.api.group import read_lines
from kilnfolio.api.group_site import write_group
from kilnfolio.api.lines import lines_of
from kilnfolio.records.folder import open_mill as open_folder

MILLS, CHARGES = int(os.environ.get("KILNFOLIO_BENCH_MILLS", "10")), 1000


def lines_files(root):
    """Write lines of many mills, made from those of the smallest."""
    folder = minimal_mill(root / "mill")
    one = lines_of(open_mill(folder), open_folder(folder)).model_dump(mode="json")
    rng = random.Random(1)
    for mill in range(MILLS):
        one["mill"]["name"] = f"Mill {mill}"
        charges = []
        for number in range(CHARGES):
            start = dt.datetime(2023, 1, 1, tzinfo=dt.UTC) + dt.timedelta(hours=26 * number)
            charges.append(
                one["charges"][0]
                | {
                    "charge": f"C{number}",
                    "kiln": f"k{number % 4}",
                    "thickness_mm": (25.4, 31.75, 50.8)[number % 3],
                    "final_mean_mc_pct": rng.gauss(8, 0.5),
                    "final_sd_mc_pct": rng.uniform(0.5, 1.5),
                    "days": round(rng.gauss(20, 3), 2),
                    "started": start.isoformat(),
                    "ended": (start + dt.timedelta(days=20)).isoformat(),
                    "energy_kwh": rng.gauss(9000, 900),
                }
            )
        path = root / f"{mill}.json"
        path.write_text(json.dumps({**one, "charges": charges}), "utf-8")
        yield path


def test_mills_of_a_thousand_charges(book, tmp_path):
    files = list(lines_files(tmp_path))

    def read_plainly():
        return [json.loads(path.read_bytes()) for path in files]

    def write_site():
        write_group(read_lines(files), "Our mills", tmp_path / "site")

    assert sum(len(one["charges"]) for one in read_plainly()) == MILLS * CHARGES
    pairs = [(timed(read_plainly), timed(write_site))]
    peak_mb = resident_mb()
    name = f"group of {MILLS} mills with {CHARGES:,} charges each, to files"
    book.compare(name, pairs, "its lines read as plain JSON", None, peak_mb=peak_mb)
