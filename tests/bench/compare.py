"""Compare two runs of the benchmarks: `python -m tests.bench.compare OLD.json NEW.json`."""

import json
import sys
from pathlib import Path


def lines(old: dict, new: dict) -> list[str]:
    """Return a line for each path that both runs measured."""
    before = {one["name"]: one for one in old["results"]}
    return [
        f"{one['name']}: {before[one['name']]['ratio']:.2f} → {one['ratio']:.2f} × "
        f"{one['floor']} (goal {one['goal']})"
        for one in new["results"]
        if one["name"] in before
    ]


if __name__ == "__main__":
    read = [json.loads(Path(name).read_text("utf-8")) for name in sys.argv[1:3]]
    sys.stdout.write("\n".join(lines(*read)) + "\n")
