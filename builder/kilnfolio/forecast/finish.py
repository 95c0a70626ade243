"""Equalizing and conditioning after a charge's last step, as this mill runs them."""

from __future__ import annotations

import datetime as dt
from statistics import median

from kilnfolio.forecast.inputs import Finish, Run
from kilnfolio.forecast.outcomes import charge_outcome
from kilnfolio.physics import rules
from kilnfolio.records import reading
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.limits import NoLimit, Subject, limit_table

MOST_EARLIER = 20
"""Number of newest earlier charges to learn from; more make no visible difference."""


def finish_of(
    folder: MillFolder,
    run: Run,
    schedule_id: str,
    target_pct: float,
    moment: dt.datetime | None = None,
) -> Finish | None:
    """Return equalizing and conditioning as this mill will run them; None if it will not.

    A mill equalizes if the schedule states the air for it, or if most of its charges of this
    wood did.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    run : Run
        The charge, or a load that has not gone in yet.
    schedule_id : str
        Its schedule.
    target_pct : float
        The MC it is dried to. [%]
    moment : datetime, optional
        Learn only from charges that ended before this time.
    """
    schedule = folder.schedules[schedule_id].record
    names = reading.charges(folder.graph, reading.of_species(run.wood), newest_first=True)
    newest = [
        charge_outcome(folder.graph, name) for name in names[:MOST_EARLIER] if name != run.charge
    ]
    past = [charge for charge in newest if moment is None or charge.ended < moment]
    done = [charge for charge in past if charge.equalized]
    if schedule.equalizing is None and 2 * len(done) <= len(past):
        return None
    if run.target_mc_pct is None:
        return None
    kind = folder.species[run.wood].record.kind
    try:
        below = limit_table(folder, Subject((run.wood,), kind, run.thickness_mm, target_pct)).value(
            "equalizing-below-target"
        )
    except NoLimit:
        return None
    conditioned = [charge.conditioning_h for charge in past if charge.conditioning_h is not None]
    stated = schedule.conditioning.hours if schedule.conditioning else None
    hours = stated.value if stated else median(conditioned) if conditioned else 0.0
    last = run.steps[-1]
    dry_bulb = schedule.equalizing.dry_bulb.value if schedule.equalizing else last.dry_bulb_c
    return Finish(
        float(rules.equalizing_start(target_pct, below)),
        target_pct,
        dry_bulb,
        float(rules.equalizing_emc(target_pct, below)),
        hours,
    )
