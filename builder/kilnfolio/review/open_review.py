"""Records that are not yet complete; of these, charges are looked at as far as they go.

A charge is never judged before its end. What a check complains of is shown while something can
still be done about it; what it would hold stays unchecked until the record is complete, and so do
the checks of how a charge ended.
"""

from __future__ import annotations

from dataclasses import dataclass

from kilnfolio.records.charge import Charge
from kilnfolio.records.cross_checks import lacking
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.model import Located
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.review.air import datetimes_of
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.review import build_case, dossier_of, read_logs

#: The slug under which it is said that a record is not complete, beside those of the checks.
NOT_COMPLETE = "record-complete"
#: What only a finished charge can be put to: these groups, and these checks of others.
_GROUPS_OF_THE_END = frozenset({"end of charge", "heat treatment"})
_OF_THE_END = frozenset({"signed", "step-hours"})
_STILL = "Nothing against it so far; the charge is not complete."
_AT_THE_END = "Checked when the charge is complete."


@dataclass(frozen=True)
class OpenReview:
    """An open charge and what can be said of it.

    Attributes
    ----------
    charge : OpenCharge
        The record.
    located : Located of Charge, optional
        As far as it goes, up to its last weighing or reading; None where too little is written.
    dossier : Dossier, optional
        The review of that; `ended` in it is the moment it goes up to.
    lots : tuple of str
        The lots that wait for it.
    waits : tuple of str
        What it names and is itself still to be filled in, as ``kiln k2``.
    """

    charge: OpenCharge
    located: Located[Charge] | None
    dossier: Dossier | None
    lots: tuple[str, ...]
    waits: tuple[str, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What is said of it, that it is not complete first."""
        waits = f" To be filled in first: {', '.join(self.waits)}." if self.waits else ""
        waits += f" Not published before: lot {', '.join(self.lots)}." if self.lots else ""
        so_far = f" Looked at up to {self.dossier.ended:%Y-%m-%d %H:%M}." if self.dossier else ""
        first = Finding(
            check=NOT_COMPLETE,
            outcome="no data",
            noted=True,
            message=f"Still to fill in: {', '.join(self.charge.keys)}.{so_far}{waits}",
        )
        return (first, *(self.dossier.findings if self.dossier else ()))


def review_open(folder: MillFolder, charge_id: str) -> OpenReview:
    """Return what can be said of a charge that is not yet complete.

    Raises
    ------
    RecordProblems
        A logger file does not fit its profile.
    """
    charge = folder.open_charges[charge_id]
    lots = folder.lots_waiting_for[charge_id]
    waits = tuple(draft.name for draft in lacking(folder, charge))
    if charge.so_far is None or waits:
        return OpenReview(charge, None, None, lots, waits)
    log = read_logs(folder, charge.so_far)
    located = charge.so_far
    if log is not None and len(log.times):
        located = charge.until(datetimes_of(log.times[-1:], folder.mill.record.zone)[0]) or located
    dossier = dossier_of(folder, build_case(folder, located, log))
    findings = tuple(_while_open(finding) for finding in dossier.findings)
    return OpenReview(charge, located, dossier.model_copy(update={"findings": findings}), lots)


def waiting_lots(folder: MillFolder) -> dict[str, Finding]:
    """Return what is said of each lot that waits for a charge to be complete."""
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
    """Return what is said of each record, beside charges, that is still to be filled in."""
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
    """Return a finding as it may be said of a charge that is not complete: never a verdict."""
    check = CHECKS[finding.check]
    if check.group in _GROUPS_OF_THE_END or check.slug in _OF_THE_END:
        return Finding(check=finding.check, outcome="not applicable", message=_AT_THE_END)
    if finding.outcome == "pass" and not finding.noted:
        return Finding(check=finding.check, outcome="not applicable", message=_STILL)
    if finding.outcome == "fail":
        return finding.model_copy(update={"outcome": "question"})
    return finding
