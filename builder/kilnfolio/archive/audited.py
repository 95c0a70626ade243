"""Results of an audit: for each seal, each bag, an edition, and all of them together."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from kilnfolio.archive.compare import Difference, differ
from kilnfolio.archive.entries import Head
from kilnfolio.review.dossier import Part


class SealAudit(Part):
    """One sealed version of a charge, computed again."""

    charge: str
    """Charge number."""
    entry: int
    """Its entry in the ledger."""
    kind: str
    """seal or amendment."""
    sealed_at: str
    """When it was sealed."""
    by: str
    """Who sealed it."""
    reason: str = ""
    """Why it was amended."""
    dossier: str
    """SHA-256 of the sealed dossier."""
    public_key: str
    """The key that signed it."""
    rules_sealed: dict[str, Any]
    """The versions under which it was sealed."""
    rules_now: dict[str, Any]
    """The versions with which it was recomputed."""
    files: int
    """Number of files from which it was recomputed."""
    numbers: int
    """Number of numbers compared."""
    differences: tuple[Difference, ...]
    """What is not as sealed."""
    moved: tuple[Difference, ...] = ()
    """What later rules change; neither confirmed nor refuted."""
    new: tuple[Difference, ...] = ()
    """What later rules add."""
    rules_changes: tuple[str, ...] = ()
    """What each version of the rules since the seal changed."""
    notes: tuple[Difference, ...]
    """Changes that affect no number."""

    @property
    def verdict(self) -> str:
        """The result of the comparison in words."""
        count = len(self.differences)
        parts = [f"{count} difference{'s' if count != 1 else ''}"] if count else []
        if self.rules_changes:
            parts.append(
                f"sealed under rules {self.rules_sealed.get('version')}, computed again "
                f"under rules {self.rules_now.get('version')}: "
                f"{differ(self.moved, self.new)}"
            )
        return "; ".join(parts) or "the same"


class LotAudit(Part):
    """One sealed record of a lot, remade."""

    lot: str
    """Lot number."""
    entry: int
    """Its entry in the ledger."""
    same: bool
    """Whether the remade record has the same bytes."""


class FolderAudit(Part):
    """One bag or one mill folder."""

    path: str
    """Its path, as given."""
    kind: Literal["bag", "mill"]
    """What it is."""
    files: int
    """Number of files checked against manifests; 0 in a mill folder."""
    entries: int
    """Number of entries in its ledger."""
    head: Head | None = None
    """The signed state of the ledger; None if none is signed."""
    differences: tuple[Difference, ...]
    """What is wrong with its files and its ledger."""
    seals: tuple[SealAudit, ...]
    """Every sealed version in it."""
    lots: tuple[LotAudit, ...] = ()
    """Every sealed record of a lot that was remade."""
    open: tuple[Difference, ...] = ()
    """What could not be confirmed, and impossible times."""
    unsealed: tuple[str, ...] = ()
    """Charges of a mill that are not sealed."""
    numbers: tuple[int, ...] = ()
    """Numbers of the ledger's entries in it."""
    pages: tuple[str, ...] = ()
    """Files of its edition that were remade from it."""


class EditionAudit(Part):
    """The files of an edition: pages, series, records and bags."""

    path: str
    """Its path, as given."""
    edition: str = ""
    """auditor or customer, according to its seal; empty if it is not signed."""
    files: int
    """Number of files."""
    public_key: str = ""
    """The key that signed its manifest; empty if it is not signed."""
    head: Head | None = None
    """The state of the ledger its manifest names."""
    again: int = 0
    """Number of files that were remade and are the same; only the manifest vouches for others."""
    differences: tuple[Difference, ...]
    """Files added, missing or changed, and what is wrong with the manifest."""
    open: tuple[Difference, ...] = ()
    """What nothing vouches for."""


#: Outcomes of an audit, best first.
Outcome = Literal["identical", "identical, key not confirmed", "incomplete", "differs"]


class AuditReport(Part):
    """The results of an audit."""

    path: str
    """What was audited."""
    kilnfolio: str
    """The version that ran the audit."""
    trusted_keys: tuple[str, ...]
    """Public keys obtained by another route; if empty, only the mill's own list was available."""
    folders: tuple[FolderAudit, ...]
    """Each bag or mill folder."""
    edition: EditionAudit | None = None
    """The edition, if a whole one was audited."""
    differences: tuple[Difference, ...]
    """Disagreements between bags, or with an earlier head."""
    open: tuple[Difference, ...] = ()
    """What could not be confirmed about all of them together."""

    @property
    def all_differences(self) -> tuple[Difference, ...]:
        """Everything that differs."""
        found = [*self.differences, *(self.edition.differences if self.edition else ())]
        for folder in self.folders:
            found += folder.differences
            found += [difference for seal in folder.seals for difference in seal.differences]
        return tuple(found)

    @property
    def all_open(self) -> tuple[Difference, ...]:
        """Everything that was not confirmed."""
        found = (*self.open, *(self.edition.open if self.edition else ()))
        return (*found, *(one for folder in self.folders for one in folder.open))

    @property
    def holds(self) -> bool:
        """Whether nothing differs that must not; see `outcome`."""
        return not self.all_differences

    @property
    def sealed(self) -> bool:
        """Whether there is a sealed charge to compute again."""
        return any(folder.seals for folder in self.folders)

    @property
    def pages_only(self) -> bool:
        """Whether it is an edition without bags, such as the customer edition."""
        return self.edition is not None and self.edition.edition == "customer"

    @property
    def unconfirmed(self) -> tuple[SealAudit, ...]:
        """Seals for which later rules give other values, so that they are not confirmed."""
        return tuple(seal for folder in self.folders for seal in folder.seals if seal.moved)

    @property
    def outcome(self) -> Outcome:
        """The outcome, which never claims more than was confirmed."""
        if not self.holds:
            return "differs"
        if not (self.sealed or self.pages_only) or self.unconfirmed or self.all_open:
            return "incomplete"
        return "identical" if self.trusted_keys else "identical, key not confirmed"

    @property
    def verdict(self) -> str:
        """The outcome as a sentence."""
        count = len(self.all_differences)
        if count:
            return f"differs: {count} difference{'s' if count != 1 else ''}"
        if not self.sealed and not self.pages_only:
            return "incomplete: no charge is sealed yet, so there is nothing to compute again"
        if self.outcome == "incomplete":
            return f"incomplete: nothing differs, but {'; '.join(self._lacks())}"
        same = (
            "every file is as the mill signed it" if self.pages_only else "recomputed and identical"
        )
        return (
            same
            if self.trusted_keys
            else f"{same}, but nobody confirmed the key with the mill (--key)"
        )

    def _lacks(self) -> Iterator[str]:
        if self.unconfirmed:
            moved = sum(len(seal.moved) for seal in self.unconfirmed)
            charges = len({seal.charge for seal in self.unconfirmed})
            yield (
                f"{moved} figure{'s' if moved != 1 else ''} of {charges} "
                f"charge{'s' if charges != 1 else ''} not confirmed: sealed under earlier "
                "rules, which give them differently"
            )
        if count := len(self.all_open):
            yield f"{count} thing{'s' if count != 1 else ''} could not be confirmed"
