"""The manifests of the editions that leave the mill, written when all their files are made."""

from __future__ import annotations

import hashlib
from pathlib import Path

from kilnfolio.archive.edition import MANIFEST, SEAL, manifest_of, sign_edition
from kilnfolio.archive.entries import Head
from kilnfolio.archive.keys import Keys, UnusableKeyError, find_keys
from kilnfolio.archive.ledger import parse_ledger
from kilnfolio.archive.places import LEDGER
from kilnfolio.graph.store import Done, Store
from kilnfolio.graph.tree import Tree
from kilnfolio.records.problems import RecordProblems
from kilnfolio.runtime.files import read_file

#: Where the manifest of an edition is written, and its seal. The customer edition's manifest lists
#: the addresses of all lots, so it stays in the mill.
PLACES = {
    "auditor": (f"auditor/{MANIFEST}", f"auditor/{SEAL}"),
    "customer": (f"mill/customer-{MANIFEST.partition('-')[2]}", "mill/customer-seal.json"),
}


def write_manifests(root: Path, store: Store, tree: Tree) -> None:
    """Write the manifest of each edition that leaves the mill; sign it if the key is available.

    Parameters
    ----------
    root : Path
        The mill folder.
    store : Store
        The store, which lists the files of the editions.
    tree : Tree
        Where they are written.
    """
    keys, head = _keys(root), _head(root)
    for edition, (manifest_path, seal_path) in PLACES.items():
        own = (manifest_path, seal_path)
        digests = {
            path.removeprefix(f"{edition}/"): digest.hex()
            for path, digest in store.file_digests(f"{edition}/")
            if path not in own
        }
        manifest = manifest_of(digests)
        files = {manifest_path: manifest}
        if keys:
            files[seal_path] = sign_edition(edition, manifest, head, keys)
        name = f"manifest of {edition}"
        store.add(name, [""])
        done = Done(name, "", frozenset(), files=files)
        wanted = {path: hashlib.sha256(data).digest() for path, data in files.items()}
        write, gone = store.put(done, wanted)
        for path in write:
            tree.write(path, files[path])
        tree.remove(gone)


def _keys(root: Path) -> Keys | None:
    try:
        return find_keys(root)
    except (UnusableKeyError, RecordProblems):
        return None


def _head(root: Path) -> Head | None:
    path = root / LEDGER
    tree = parse_ledger(read_file(path)).tree if path.exists() else None
    return Head(size=len(tree), root=tree.root().hex()) if tree else None
