"""Rebuild the auditor's pages and series of a charge from its bag, for the audit to compare."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import cast

from kilnfolio.archive.as_sealed import kept_files
from kilnfolio.archive.edition import AS_BUILT, BUILT_WITH, HOUSE_FILES
from kilnfolio.archive.entries import Entry
from kilnfolio.records.folder import mill_of_files
from kilnfolio.review.dossier import Dossier
from kilnfolio.site.context import SiteContext
from kilnfolio.site.pages.audit import audit_charge, record_path, without_outside_links
from kilnfolio.site.sealed import Seals
from kilnfolio.site.seals import SealView, Superseded, seal_view, superseded_states
from kilnfolio.site.series import series_files


class SealsOfBag:
    """The seals a bag holds: those of its own charge."""

    def __init__(self, root: Path, entries: tuple[Entry, ...], demo_keys: frozenset[str]):
        self.root, self.entries, self.demo_keys = root, entries, demo_keys

    def of_charge(self, number: str) -> SealView:
        """Return the charge's entries in the ledger."""
        return seal_view(self.entries, self.demo_keys, charge=number)

    def superseded(self, _: str) -> Iterator[Superseded]:
        """Yield the sealed states that have since been amended, newest first."""
        yield from superseded_states(self.root, self.entries)


def pages_again(
    edition: Path, root: Path, sealed: bytes, entries: tuple[Entry, ...], demo: frozenset[str]
) -> dict[str, bytes]:
    """Return the pages and series of a charge by path in the edition.

    Parameters
    ----------
    edition : Path
        The edition's folder, for the parts of its pages that were not sealed.
    root : Path
        The ``data`` folder of the charge's bag.
    sealed : bytes
        The sealed dossier, as canonical JSON.
    entries : tuple of Entry
        The charge's entries, oldest first.
    demo : frozenset of str
        Public keys that are the demonstration's.
    """
    number, dossier = entries[-1].charge, Dossier.model_validate_json(sealed)
    files = kept_files(root, entries[-1])
    beside = edition / AS_BUILT
    today = {path: beside / path for path in BUILT_WITH}
    for pattern in HOUSE_FILES:
        today |= {path.relative_to(beside).as_posix(): path for path in beside.glob(pattern)}
    now = mill_of_files(root, {**files, **{p: f for p, f in today.items() if f.is_file()}})
    context = SiteContext(now.graph, "auditor").as_of(mill_of_files(root, files), dossier)
    context.folder = now
    context.seals = cast("Seals", SealsOfBag(root, entries, demo))
    context.env.globals["pdfs"] = (edition / record_path(number)).is_file()
    made = {page.path: without_outside_links(page).html for page in audit_charge(context, number)}
    made |= series_files([dossier])
    return {path: text.encode() for path, text in made.items()}
