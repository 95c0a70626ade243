"""The working of everything a charge's page computes."""

from __future__ import annotations

from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier
from kilnfolio.site.pages.workings import Workings, by_id
from kilnfolio.site.pages.workings.boards import board_workings
from kilnfolio.site.pages.workings.course import air_workings, length_workings
from kilnfolio.site.pages.workings.ending import ending_workings


def charge_workings(folder: MillFolder, record: Charge, dossier: Dossier) -> Workings:
    """Return the working of every computed number of a charge's page."""
    return by_id(
        (
            *length_workings(folder, dossier),
            *air_workings(folder, record, dossier),
            *board_workings(folder, record, dossier),
            *ending_workings(folder, record, dossier),
        )
    )
