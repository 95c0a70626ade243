"""Tries a mill's own checks on both sides, as each check of this package is tried in its tests."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from kilnfolio.records.folder import open_mill
from kilnfolio.records.kinds import OWN_CODE
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.records.problems import Place, Problem
from kilnfolio.review.findings import OwnCode, Row
from kilnfolio.review.review import review_charge


def failing_rows(root: Path, code: OwnCode) -> Iterator[Problem]:
    """Yield each row whose check does not reach the outcome that it gives.

    Parameters
    ----------
    root : Path
        The mill folder.
    code : OwnCode
        Its own checks.
    """
    for slug, rows in code.rows.items():
        for row in rows:
            found = sorted(_outcomes(root, code, slug, row))
            if found != [row.outcome]:
                yield Problem(
                    Place(min(open_mill(root).graph.names(OWN_CODE), default="content/checks")),
                    f"check '{slug}', charge {row.charge}",
                    f"its row says '{row.outcome}', and the check says "
                    f"{', '.join(found) or 'nothing: there is no such charge, or no such check'}",
                    "Mend the check or the row",
                )


def _outcomes(root: Path, code: OwnCode, slug: str, row: Row) -> set[str]:
    mill = open_mill(root)
    if row.charge not in mill.charges or slug not in code.checks:
        return set()
    located = mill.located_charge(row.charge)
    if isinstance(located, OpenCharge):
        return set()
    values = {**located.document.value, **row.changes}
    # JSON is a subset of YAML; dates are written as they would be typed
    changed = json.dumps(values, default=str, ensure_ascii=False).encode()
    tried = open_mill(root, {located.file: changed})
    dossier = review_charge(tried, row.charge, code)
    return {finding.outcome for finding in dossier.findings if finding.check == slug}
