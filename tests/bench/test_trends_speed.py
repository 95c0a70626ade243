"""Trends, ledger and maps at 100, 1,000 and 10,000 charges of a mill's own list.

Every chart looks at the newest charges only, so the cost beyond reading the list must hardly grow.

Run by name: sh builder/run test tests/bench/test_trends_speed.py -s
"""

import time

import pytest
from tests.minimal import LIBRARY, minimal_mill

from demo import scenario
from demo.earlier import KILNS, make_list, table
from demo.yamltext import dump
from kilnfolio.records.earlier import CHARGES, INSPECTED, READINGS, earlier
from kilnfolio.records.folder import open_mill
from kilnfolio.trends.control import streams, verdicts
from kilnfolio.trends.ledger import degrade_ledger
from kilnfolio.trends.positions import position_map

#: Number of newest charges with readings and defects by place.
PLACED = 500


def written(folder, count):
    charges, readings, inspected = [], [], []
    for seed in range(1 + count // 80):
        made = make_list(seed, planted=False)
        names = {row["charge"]: f"{seed}-{row['charge']}" for row in made.charges}
        charges += [row | {"charge": names[row["charge"]]} for row in made.charges]
        readings += [row | {"charge": names[row["charge"]]} for row in made.readings]
        inspected += [row | {"charge": names[row["charge"]]} for row in made.inspected]
    charges = charges[:count]
    last = {row["charge"] for row in charges[-PLACED:]}
    files = {
        CHARGES: table(charges),
        READINGS: table([row for row in readings if row["charge"] in last]),
        INSPECTED: table([row for row in inspected if row["charge"] in last]),
    }
    files |= {f"content/kilns/{kiln}.yaml": dump(scenario.KILN_RECORDS[kiln]) for kiln in KILNS}
    root = minimal_mill(folder, files=files)
    for species in {timber.species for timbers in KILNS.values() for timber in timbers}:
        name = f"schedules/species/{species}.yaml"
        (root / name).write_bytes((LIBRARY.parent / name).read_bytes())
    return root


@pytest.mark.parametrize("count", [100, 1_000, 10_000])
def test_growth(tmp_path, count):
    graph = open_mill(written(tmp_path, count)).graph
    begun = time.process_time()
    assert len(earlier(graph).charges) == count
    read = time.process_time() - begun
    begun = time.process_time()
    keys = streams(graph)
    for key in keys:
        verdicts(graph, key)
    charts = time.process_time() - begun
    begun = time.process_time()
    degrade_ledger(graph)
    for kiln in KILNS:
        position_map(graph, kiln)
    rest = time.process_time() - begun
    print(  # noqa: T201
        f"{count} charges: read in {read:.2f} s; {len(keys)} pages of charts in {charts:.2f} s; "
        f"ledger and maps in {rest:.2f} s of processor time"
    )
