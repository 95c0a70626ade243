"""`python -m demo --out content`: write the invented mill's records."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from demo.library import read_library
from demo.writing import write_mill


def main(arguments: list[str] | None = None) -> int:
    """Write the mill and return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m demo", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("content"), help="folder to write into")
    parser.add_argument(
        "--schedules", type=Path, default=Path("schedules"), help="folder of species and schedules"
    )
    parser.add_argument("--truth", type=Path, help="file for what truly happened")
    chosen = parser.parse_args(arguments)
    begun = time.monotonic()

    def told(line: str) -> None:
        sys.stdout.write(f"{time.monotonic() - begun:5.1f} s  {line}\n")

    write_mill(chosen.out, read_library(chosen.schedules), told, chosen.truth)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
