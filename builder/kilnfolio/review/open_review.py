"""Reviews of incomplete records; charges are reviewed as far as they go.

A charge is never judged before its end. What a check finds wrong is shown while something can still
be done about it; passes are withheld until the record is complete, and so are the checks of how a
charge ended.
"""

from __future__ import annotations

from kilnfolio.records.charge import Charge
from kilnfolio.records.cross_checks import incomplete_references
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.review.air import datetimes_of
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.own_code import own_code
from kilnfolio.review.review import build_case, dossier_of, read_logs
from kilnfolio.runtime.values import dataclass

#: The slug of the finding that a record is not complete.
NOT_COMPLETE = "record-complete"
#: Checks that need a finished charge: these groups, and these checks of other groups.
_END_GROUPS = frozenset({"end of charge", "heat treatment"})
_END_CHECKS = frozenset({"signed", "step-hours"})
_STILL = "Nothing against it so far; the charge is not complete."
_AT_THE_END = "Checked when the charge is complete."


@dataclass(frozen=True)
class OpenReview:
    """An open charge and its review so far.

    Attributes
    ----------
    charge : OpenCharge
        The record.
    located : Located of Charge, optional
        The charge up to its last weighing or reading; None if too little is recorded.
    dossier : Dossier, optional
        The review of that; its `ended` is the time up to which it goes.
    lots : tuple of str
        The lots that wait for it.
    waits : tuple of str
        Records it names that are still to be filled in themselves, as ``kiln k2``.
    """

    charge: OpenCharge
    located: Located[Charge] | None
    dossier: Dossier | None
    lots: tuple[str, ...]
    waits: tuple[str, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Its findings; first, that it is not complete."""
        waits = f" To be filled in first: {', '.join(self.waits)}." if self.waits else ""
        waits += f" Not published before: lot {', '.join(self.lots)}." if self.lots else ""
        so_far = f" Read up to {self.dossier.ended:%Y-%m-%d %H:%M}." if self.dossier else ""
        first = Finding(
            check=NOT_COMPLETE,
            outcome="no data",
            noted=True,
            message=f"Still to fill in: {', '.join(self.charge.keys)}.{so_far}{waits}",
        )
        return (first, *(self.dossier.findings if self.dossier else ()))


def review_open(folder: MillFolder, charge_id: str) -> OpenReview:
    """Return the review of a charge that is not complete.

    Raises
    ------
    RecordProblems
        A logger file does not match its profile.
    """
    charge = folder.open_charges[charge_id]
    lots = folder.lots_waiting_for[charge_id]
    waits = tuple(draft.name for draft in incomplete_references(folder, charge))
    if charge.so_far is None or waits:
        return OpenReview(charge, None, None, lots, waits)
    log = read_logs(folder, charge.so_far)
    located = charge.so_far
    if log is not None and len(log.times):
        located = charge.until(datetimes_of(log.times[-1:], folder.mill.record.zone)[0]) or located
    dossier = dossier_of(folder, build_case(folder, located, log, own_code(folder.graph)))
    findings = tuple(_while_open(finding) for finding in dossier.findings)
    return OpenReview(charge, located, dossier.model_copy(update={"findings": findings}), lots)


def waiting_lots(folder: MillFolder) -> dict[str, Finding]:
    """Return the finding on each lot that waits for a charge to be complete."""
    return {
        name: Finding(
            check=NOT_COMPLETE,
            outcome="no data",
            noted=True,
            message="Not published: it waits for charge "
            + ", ".join(
                sorted({pack.charge for pack in lot.record.packs} & folder.open_charges.keys())
            )
            + ", which is not complete.",
        )
        for name, lot in folder.waiting_lots.items()
    }


def draft_records(folder: MillFolder) -> dict[str, Finding]:
    """Return the finding on each draft, except charges."""
    return {
        name: Finding(
            check=NOT_COMPLETE,
            outcome="no data",
            noted=True,
            message=f"Still to fill in: {', '.join(draft.keys)}, in {draft.file}.",
        )
        for name, draft in folder.drafts.items()
    }


def _while_open(finding: Finding) -> Finding:
    """Return a finding in a form suitable for an open charge, which is never a verdict."""
    check = CHECKS.get(finding.check)
    if check and (check.group in _END_GROUPS or check.slug in _END_CHECKS):
        return Finding(check=finding.check, outcome="not applicable", message=_AT_THE_END)
    if finding.outcome == "pass" and not finding.noted:
        return Finding(
            check=finding.check, title=finding.title, outcome="not applicable", message=_STILL
        )
    if finding.outcome == "fail":
        return finding.model_copy(update={"outcome": "question"})
    return finding
