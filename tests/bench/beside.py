"""Cold builds of this checkout and of another one, in turn, without PDFs and in one process.

    python -m tests.bench.beside ../other-checkout --charges 100 --turns 5 --out results.json

Each builds the mill that its own `tests/bench/mills.py` makes, handbook and library included, so a
checkout pays for whatever it has added to both.
"""

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parents[2]
MAKE = "import sys; from pathlib import Path; from tests.bench.mills import make_mill; "
MAKE += "make_mill(Path(sys.argv[1]), charges=int(sys.argv[2]))"


def run(checkout: Path, *words: object) -> tuple[float, float]:
    """Run Python with a checkout's code; return its processor time [s] and peak memory [MB]."""
    paths = os.pathsep.join(map(str, (checkout / "builder", checkout)))
    child = subprocess.Popen(
        [sys.executable, *map(str, words)],
        cwd=checkout,
        env={**os.environ, "PYTHONPATH": paths},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{checkout}: {words} ended with {child.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main() -> None:
    """Time both and print a line for each turn, then the medians and their ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("other", type=Path, help="the other checkout")
    parser.add_argument("--charges", type=int, default=100)
    parser.add_argument("--turns", type=int, default=5)
    parser.add_argument("--out", type=Path, help="a JSON file for the results")
    asked = parser.parse_args()
    checkouts = {"other": asked.other.resolve(), "this": HERE}
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in checkouts}
    with tempfile.TemporaryDirectory() as folder:
        for name, checkout in checkouts.items():
            run(checkout, "-c", MAKE, Path(folder) / name, asked.charges)
        for turn in range(asked.turns):
            for name, checkout in checkouts.items():
                words = (Path(folder) / name, "--without-pdf", "--workers", 1, "--fresh")
                found[name].append(run(checkout, "-m", "kilnfolio", "build", *words))
            low, high = found["other"][-1], found["this"][-1]
            sys.stdout.write(f"turn {turn + 1}: other {low[0]:.1f} s, this {high[0]:.1f} s\n")
            sys.stdout.flush()
    seconds = {name: statistics.median(t for t, _ in turns) for name, turns in found.items()}
    ratio = statistics.median(
        high / low for (low, _), (high, _) in zip(found["other"], found["this"], strict=True)
    )
    sys.stdout.write(f"{asked.charges} charges: {seconds}, ratio {ratio:.2f}\n")
    if asked.out:
        machine = f"{platform.machine()}, {os.cpu_count()} processors, Python "
        report = {
            "what": f"cold build without PDFs, one process, {asked.charges} charges",
            "machine": machine + platform.python_version(),
            "measured": time.strftime("%Y-%m-%d", time.gmtime()),
            "processor_s_and_peak_mb": found,
            "ratio": ratio,
        }
        asked.out.write_text(json.dumps(report, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
