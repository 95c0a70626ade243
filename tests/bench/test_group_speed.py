"""A group of 10 mills with 1,000 charges each, against reading its lines as plain JSON.

Run by name: sh builder/run test tests/bench -s. KILNFOLIO_BENCH_MILLS names another number of mills.
"""

import datetime as dt
import json
import os
import random
import resource
import time

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


def test_mills_of_a_thousand_charges(tmp_path):
    files = list(lines_files(tmp_path))
    begun = time.process_time()
    plain = sum(len(json.loads(path.read_bytes())["charges"]) for path in files)
    floor = time.process_time() - begun
    begun = time.process_time()
    group = read_lines(files)
    read = time.process_time() - begun
    pages = write_group(group, "Our mills", tmp_path / "site")
    took = time.process_time() - begun
    print(  # noqa: T201
        f"{plain} charges: JSON {floor:.2f} s, lines {read:.2f} s, site {took:.2f} s, {pages} pages, "
        f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
    )
    assert sum(len(one.charges) for one in group) == MILLS * CHARGES
