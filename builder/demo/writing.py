"""Writing the whole mill: records, exports and, separately, the truth file."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from demo import earlier, scenario
from demo.faults import truth_of
from demo.library import Library
from demo.recording import lot_record
from demo.simulate import MadeCharge, make_charge, make_running
from demo.trials import instrument_records
from demo.yamltext import dump
from demo.year import CHARGES, LOTS, NOW, RUNNING

INVENTED = "Invented, like all of Heron Bend Hardwoods: written by builder/demo, not by a mill."
TRUTH_HEADING = """What truly happened in the invented charges, which their records do not say.
For tests of the review: an honest review finds what is planted and nothing else.
Written by builder/demo."""


def write_mill(
    out: Path, library: Library, told: Callable[[str], None], truth: Path | None = None
) -> None:
    """Write the mill's folder, after removing such files of an earlier run.

    Parameters
    ----------
    out : Path
        The folder ``content``.
    library : Library
        Species and schedules.
    told : callable
        Called with each line of progress.
    truth : Path, optional
        Path of the truth file.
    """
    for name in ("kilns", "instruments", "loggers", "charges", "orders", "lots", "earlier"):
        shutil.rmtree(out / name, ignore_errors=True)
    _write(out / "mill.yaml", scenario.MILL)
    _write(out / "prices.yaml", scenario.PRICES)
    for kiln, record in scenario.KILN_RECORDS.items():
        _write(out / "kilns" / f"{kiln}.yaml", record)
    for record in instrument_records():
        _write(out / "instruments" / f"{record['id']}.yaml", record)
    for profile, record in scenario.LOGGERS.items():
        _write(out / "loggers" / f"{profile}.yaml", record)
    made: dict[str, MadeCharge] = {}
    for plan in CHARGES:
        charge = made[plan.id] = make_charge(plan, library)
        _write_charge(out, charge)
        told(f"{plan.id}: {charge.truth['days']} days to {charge.truth['load_mean_mc']} %")
    running = [make_running(plan, library, NOW) for plan in RUNNING]
    for charge in running:
        _write_charge(out, charge)
        told(f"{charge.plan.id}: runs; {charge.truth['days']} days in all")
    for lot in LOTS:
        _write(out / "lots" / f"{lot.id}.yaml", lot_record(lot, made[lot.charge]))
    for order in scenario.ORDERS:
        _write(out / "orders" / f"{order['id']}.yaml", order)
    listed = earlier.make_list()
    (out / "earlier").mkdir(parents=True)
    for name, rows in (
        ("charges", listed.charges),
        ("readings", listed.readings),
        ("inspected", listed.inspected),
    ):
        (out / "earlier" / f"{name}.csv").write_text(earlier.table(rows), "utf-8", newline="\n")
    told(f"{len(listed.charges)} earlier charges")
    if truth is not None:
        truths = {
            "charges": {name: truth_of(charge) for name, charge in sorted(made.items())},
            "running": {charge.plan.id: charge.truth for charge in running},
            "earlier": listed.planted,
        }
        truth.parent.mkdir(parents=True, exist_ok=True)
        truth.write_text(dump(truths, TRUTH_HEADING), encoding="utf-8", newline="\n")


def _write_charge(out: Path, charge: MadeCharge) -> None:
    home = out / "charges" / str(charge.plan.started.year) / charge.plan.id
    _write(home / "charge.yaml", charge.record)
    for name, raw in charge.files.items():
        (home / name).write_bytes(raw)


def _write(path: Path, record: dict[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(dump(record, INVENTED), encoding="utf-8", newline="\n")
