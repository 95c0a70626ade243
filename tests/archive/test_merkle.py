"""Merkle hashing against published vectors, and proofs of every shape against the definition.

The leaves, roots and proofs are the reference vectors of Certificate Transparency, published with
the project's own implementations (RFC 6962, whose hashing RFC 9162 keeps).
"""

import hashlib

import pytest

from kilnfolio.archive.merkle import Tree, consistent, includes, leaf_hash, node_hash

LEAVES = [
    bytes.fromhex(text)
    for text in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
#: Index, size, proof.
INCLUSION = [
    (
        0,
        8,
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7"
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e"
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ),
    (
        5,
        8,
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0"
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ),
]
#: Sizes, proof.
CONSISTENCY = [
    (
        2,
        5,
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e"
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    )
]


def digests(text):
    return [bytes.fromhex(text[at : at + 64]) for at in range(0, len(text), 64)]


@pytest.fixture
def tree():
    return Tree(map(leaf_hash, LEAVES))


def test_roots_match_the_published_vectors(tree):
    assert [tree.root(size).hex() for size in range(9)] == ROOTS


@pytest.mark.parametrize(("index", "size", "proof"), INCLUSION)
def test_inclusion_proofs_match_the_published_vectors(tree, index, size, proof):
    assert tree.inclusion(index, size) == digests(proof)


@pytest.mark.parametrize(("first", "second", "proof"), CONSISTENCY)
def test_consistency_proofs_match_the_published_vectors(tree, first, second, proof):
    assert tree.consistency(first, second) == digests(proof)


def by_definition(leaves):
    """The Merkle tree hash as defined in RFC 9162, 2.1.1."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaf_hash(leaves[0])
    k = 1
    while 2 * k < len(leaves):
        k *= 2
    return node_hash(by_definition(leaves[:k]), by_definition(leaves[k:]))


SIZES = (*range(1, 20), 31, 32, 33)
MANY = [bytes([number]) for number in range(max(SIZES))]


@pytest.mark.parametrize("size", SIZES)
def test_every_proof_verifies_and_verifies_nothing_else(size):
    tree = Tree(map(leaf_hash, MANY))
    root = by_definition(MANY[:size])
    assert tree.root(size) == root
    for index in range(size):
        proof, leaf = tree.inclusion(index, size), leaf_hash(MANY[index])
        assert includes(leaf, index, size, proof, root)
        assert not includes(leaf, index, size, [*proof, root], root)
        assert not includes(leaf, index, size, proof[:-1], root) or not proof
        assert not includes(leaf, index + 1, size, proof, root)
        assert not includes(leaf_hash(b"another"), index, size, proof, root)
    for first in range(1, size + 1):
        proof, old = tree.consistency(first, size), by_definition(MANY[:first])
        assert consistent(first, old, size, root, proof)
        assert not consistent(first, leaf_hash(b"another"), size, root, proof)
        assert not consistent(first, old, size, leaf_hash(b"another"), proof)
        if proof:
            assert not consistent(first, old, size, root, proof[:-1])


def test_what_is_not_in_the_tree_is_refused(tree):
    for call in (
        lambda: tree.root(9),
        lambda: tree.inclusion(8, 8),
        lambda: tree.consistency(0, 8),
        lambda: tree.consistency(5, 4),
    ):
        with pytest.raises(ValueError, match="must lie"):
            call()
