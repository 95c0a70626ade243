"""Trends, ledger and maps at 100, 1,000 and 10,000 charges of a mill's own list.

Every chart looks at the newest charges only, so the cost beyond reading the list must hardly grow.

Run by name: sh builder/run test tests/bench/test_trends_speed.py -s
"""

from tests.bench.harness import Growth, highest_memory, timed
from tests.minimal import LIBRARY, minimal_mill

from demo import scenario
from demo.earlier import KILNS, make_list, table
from demo.yamltext import dump
from kilnfolio.records.earlier import CHARGES, INSPECTED, READINGS, earlier
from kilnfolio.records.folder import open_mill
from kilnfolio.trends.control import streams, verdicts
from kilnfolio.trends.ledger import degrade_ledger
from kilnfolio.trends.positions import position_map

SIZES = [100, 1_000, 10_000]

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


def test_growth(book, tmp_path):
    found = {"earlier years read": [], "charts of trends": [], "ledger and maps": []}
    peaks = []
    for count in SIZES:
        graph = open_mill(written(tmp_path / str(count), count)).graph
        works = (
            lambda graph=graph: earlier(graph),
            lambda graph=graph: [verdicts(graph, key) for key in streams(graph)],
            lambda graph=graph: (
                degrade_ledger(graph),
                [position_map(graph, kiln) for kiln in KILNS],
            ),
        )

        def measure(works=works):
            for seconds, work in zip(found.values(), works, strict=True):
                seconds.append(timed(work))

        peaks.append(highest_memory(measure) or 0.0)
        assert len(earlier(graph).charges) == count
    for name, seconds in found.items():
        book.tell(Growth(f"{name}, charges", SIZES, seconds, peaks))
