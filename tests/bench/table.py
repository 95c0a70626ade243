"""Results of the benchmarks as tables in Markdown: `python -m tests.bench.table RESULTS.json`."""

import json
import sys
from pathlib import Path

from tests.bench.harness import PROJECT, Growth, Result

#: The results that the documentation states, and the page that states them.
COMMITTED = PROJECT / "docs/decisions/speed.json"
PAGE = PROJECT / "docs/decisions/speed.md"


def table(results: dict) -> str:
    """Return the results as two tables, with the machine and the versions above them."""
    versions = ", ".join(f"{name} {version}" for name, version in results["versions"].items())
    lines = [
        f"Measured on {results['measured']}: {results['machine']}; {versions}.",
        "",
        "| path | floor | path, s | floor, s | ratio | goal | peak, MB |",
        "|---|---|--:|--:|--:|--:|--:|",
    ]
    for one in results["results"]:
        found = Result(**{key: value for key, value in one.items() if key != "met"})
        peak = f"{found.peak_mb:.0f}" if found.peak_mb else ""
        lines.append(
            f"| {found.name} | {found.floor} | {found.path_s:.3g} | {found.floor_s:.3g} "
            f"| {found.ratio:.2f} | {found.goal_text} | {peak} |"
        )
    lines += [
        "",
        "| growth | seconds at each size | peak memory, MB | time grows as | memory as |",
        "|---|---|---|--:|--:|",
    ]
    for one in results["growths"]:
        found = Growth(**{key: value for key, value in one.items() if key != "exponents"})
        time_power, memory_power = found.exponents
        seconds = ", ".join(
            f"{size:,}: {took:.3g}" for size, took in zip(found.sizes, found.seconds, strict=True)
        )
        peaks = ", ".join(f"{peak:.0f}" for peak in found.peak_mb)
        lines.append(
            f"| {found.name} | {seconds} | {peaks} | n^{time_power:.2f} | n^{memory_power:.2f} |"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table(json.loads(Path(sys.argv[1]).read_text("utf-8"))))
