"""The date of a build: set by the environment, or the newest moment on record.

It is never the clock's, so that the same records give the same bytes.
"""

from __future__ import annotations

import datetime as dt
import os

from kilnfolio.records.folder import MillFolder


def source_date(zone: dt.tzinfo) -> dt.datetime | None:
    """Return the moment in SOURCE_DATE_EPOCH (whole seconds), or None if it is not set."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    return dt.datetime.fromtimestamp(int(epoch), zone) if epoch.isdigit() else None


def build_date(folder: MillFolder, approved: dt.date | None = None) -> dt.datetime:
    """Return the date that pages and books print.

    Parameters
    ----------
    folder : MillFolder
        The mill's records.
    approved : date, optional
        When the newest part of a book was approved; no edition is older than that.

    Returns
    -------
    datetime
        `source_date` if it is set, else the newest moment on record.
    """
    zone = folder.mill.record.zone
    if (named := source_date(zone)) is not None:
        return named
    newest = folder.latest
    return max(newest, dt.datetime.combine(approved, dt.time(), zone)) if approved else newest
