"""Merkle tree hashing: one digest for a list of any length, with short proofs about it.

An *inclusion proof* shows that an entry is at its place in a tree; a *consistency proof* shows that
a later tree begins with an earlier one, unchanged. Both have at most a few dozen digests.

References
----------
.. [1] RFC 9162, Certificate Transparency Version 2.0, 2021, sections 2.1.1 to 2.1.4.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence

#: Distinguish leaves from nodes, so that neither can be passed off as the other (section 2.1.1).
_LEAF, _NODE = b"\x00", b"\x01"


def leaf_hash(data: bytes) -> bytes:
    """Return the hash of an entry as a leaf."""
    return hashlib.sha256(_LEAF + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of two joined subtrees."""
    return hashlib.sha256(_NODE + left + right).digest()


def _split(size: int) -> int:
    """Return the largest power of two below `size`."""
    return 1 << ((size - 1).bit_length() - 1)


class Tree:
    """A growing tree, with its root and proofs at every size it has had.

    Parameters
    ----------
    leaves : iterable of bytes
        Leaf hashes, in order.
    """

    def __init__(self, leaves: Iterable[bytes] = ()):
        self._levels: list[list[bytes]] = [[]]
        for leaf in leaves:
            self.add(leaf)

    def __len__(self) -> int:
        return len(self._levels[0])

    @property
    def leaves(self) -> tuple[bytes, ...]:
        """The leaf hashes, in order."""
        return tuple(self._levels[0])

    def add(self, leaf: bytes) -> None:
        """Add a leaf hash at the end."""
        self._levels[0].append(leaf)
        level = 0
        while len(self._levels[level]) % 2 == 0:
            if level + 1 == len(self._levels):
                self._levels.append([])
            left, right = self._levels[level][-2:]
            level += 1
            self._levels[level].append(node_hash(left, right))

    def root(self, size: int | None = None) -> bytes:
        """Return the Merkle tree hash of the first `size` leaves; of all by default."""
        size = self._checked(len(self) if size is None else size)
        return self._range(0, size) if size else hashlib.sha256(b"").digest()

    def inclusion(self, index: int, size: int) -> list[bytes]:
        """Return the inclusion proof of a leaf in the tree of the first `size` (section 2.1.3)."""
        if not 0 <= index < self._checked(size):
            raise ValueError(f"index must lie below {size}; it is {index}")
        return self._path(index, 0, size)

    def consistency(self, first: int, second: int) -> list[bytes]:
        """Return the proof that the tree of `second` leaves begins with that of `first` (2.1.4)."""
        if not 0 < first <= self._checked(second):
            raise ValueError(f"first must lie from 1 to {second}; it is {first}")
        return self._sub_proof(first, 0, second, whole=True)

    def _checked(self, size: int) -> int:
        if not 0 <= size <= len(self):
            raise ValueError(f"size must lie from 0 to {len(self)}; it is {size}")
        return size

    def _range(self, low: int, high: int) -> bytes:
        size = high - low
        if size & (size - 1) == 0:  # complete: it was hashed when its last leaf was added
            level = size.bit_length() - 1
            return self._levels[level][low >> level]
        k = _split(size)
        return node_hash(self._range(low, low + k), self._range(low + k, high))

    def _path(self, index: int, low: int, high: int) -> list[bytes]:
        if high - low == 1:
            return []
        k = _split(high - low)
        if index < k:
            return [*self._path(index, low, low + k), self._range(low + k, high)]
        return [*self._path(index - k, low + k, high), self._range(low, low + k)]

    def _sub_proof(self, first: int, low: int, high: int, *, whole: bool) -> list[bytes]:
        if first == high - low:
            return [] if whole else [self._range(low, high)]
        k = _split(high - low)
        if first <= k:
            return [*self._sub_proof(first, low, low + k, whole=whole), self._range(low + k, high)]
        return [*self._sub_proof(first - k, low + k, high, whole=False), self._range(low, low + k)]


def includes(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Return whether a leaf hash is at `index` in the tree with this root (2.1.3.2)."""
    if not 0 <= index < size:
        return False
    place, last, found = index, size - 1, leaf
    for step in proof:
        if last == 0:
            return False
        if place & 1 or place == last:
            found = node_hash(step, found)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            found = node_hash(found, step)
        place, last = place >> 1, last >> 1
    return last == 0 and found == root


def consistent(
    first: int, first_root: bytes, second: int, second_root: bytes, proof: Sequence[bytes]
) -> bool:
    """Return whether a tree begins with an earlier one, by their roots and a proof (2.1.4.2)."""
    if first == second:
        return not proof and first_root == second_root
    if not 0 < first < second or not proof:
        return False
    steps = list(proof)
    if first & (first - 1) == 0:
        steps.insert(0, first_root)
    place, last = first - 1, second - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    old = new = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            old, new = node_hash(step, old), node_hash(step, new)
            while place and not place & 1:
                place, last = place >> 1, last >> 1
        else:
            new = node_hash(new, step)
        place, last = place >> 1, last >> 1
    return last == 0 and old == first_root and new == second_root
