"""Compares the heads of bags with each other, with the ledger's leaves, and with a kept head."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kilnfolio.archive.audited import FolderAudit
from kilnfolio.archive.bag import BAGS
from kilnfolio.archive.compare import Difference
from kilnfolio.archive.entries import Head
from kilnfolio.archive.heads import LEAVES, read_leaves
from kilnfolio.archive.ledger import parse_ledger
from kilnfolio.archive.merkle import Tree
from kilnfolio.archive.places import LEDGER
from kilnfolio.runtime.files import read_file


def compare_heads(
    path: Path, folders: Sequence[FolderAudit], since: Head | None
) -> tuple[list[Difference], list[Difference]]:
    """Compare the audited heads with each other, and with one that somebody kept.

    Returns
    -------
    tuple of two lists
        Heads that cannot belong to one ledger, and what could not be compared.
    """
    tree = tree_of(path)
    heads = [(folder.path, folder.head) for folder in folders if folder.head]
    heads += [("the head given with --since", since)] if since else []
    differences, unknown = [], []
    known: dict[int, tuple[str, str]] = {}
    for where, head in heads:
        if tree is not None:
            root = tree.root(head.size).hex() if head.size <= len(tree) else ""
            first, here = (root, path.as_posix())
        else:
            first, here = known.setdefault(head.size, (head.root, where))
        if not first:
            differences.append(
                Difference(
                    kind="entries-dropped",
                    where=where,
                    sealed=head.root,
                    what=f"it is a head of "
                    f"{head.size} entries, and the ledger here has {len(tree or ())}: entries were "
                    "taken off its end",
                )
            )
        elif first != head.root:
            differences.append(
                Difference(
                    kind="ledgers-disagree",
                    where=where,
                    sealed=first,
                    found=head.root,
                    what=f"its head of {head.size} entries is not that of {here}; a mill has one "
                    "ledger, so one of the two was rewritten",
                )
            )
    if since and tree is None and len(known) > 1:
        unknown.append(
            Difference(
                kind="not-compared",
                where="--since",
                what="heads of different sizes are compared with "
                "the mill's ledger or its auditor edition; a bag alone does not hold enough",
            )
        )
    return differences, unknown


def tree_of(path: Path) -> Tree | None:
    """Return the tree of the ledger, if its lines or its leaves are available."""
    if (path / LEDGER).is_file():
        return parse_ledger(read_file(path / LEDGER)).tree
    for leaves in (path / LEAVES, path / BAGS / LEAVES):
        if leaves.is_file():
            return read_leaves(read_file(leaves))
    return None
