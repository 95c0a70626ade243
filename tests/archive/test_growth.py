"""A bag stays small and cheap to check however long the mill's ledger becomes.

Ledgers of up to 10,000 charges with ten lots each are simulated: the entries of one charge are
real, all others are random leaf hashes, which is all that a proof contains of them.
"""

import cProfile
import math
import pstats
import random
import shutil
from pathlib import Path

import pytest
from tests.archive import sealing
from tests.trust.sealing import amended_mill

from kilnfolio.archive.bag import write_bag
from kilnfolio.archive.canonical import canonical
from kilnfolio.archive.checking import read_bag_ledger
from kilnfolio.archive.heads import sign_head
from kilnfolio.archive.merkle import Tree, leaf_hash
from kilnfolio.archive.proofs import ENTRIES, PROOF, Inclusion, Proof

CHARGES = (10, 100, 1_000, 10_000)
ENTRIES_OF_CHARGE = 11  # its seal, and its ten lots'


@pytest.fixture(scope="module")
def bag(tmp_path_factory) -> Path:
    root = amended_mill(tmp_path_factory.mktemp("mill"))
    return write_bag(root, "C1", tmp_path_factory.mktemp("bags"), notice=sealing.NOTICE)


def in_ledger_of(data: Path, size: int) -> None:
    """Put a bag's entries at random places in a ledger of this size, and prove them there."""
    chance = random.Random(size)
    ledger, _ = read_bag_ledger(data)
    places = sorted(chance.sample(range(size), len(ledger.lines)))
    own = {
        place: sealing.sign_again(line.raw, sealing.key(), number=place + 1)
        for place, line in zip(places, ledger.lines, strict=True)
    }
    tree = Tree(
        leaf_hash(own[place]) if place in own else chance.randbytes(32) for place in range(size)
    )
    inclusions = tuple(
        Inclusion(number=place + 1, path=tuple(x.hex() for x in tree.inclusion(place, size)))
        for place in places
    )
    proof = Proof(head=sign_head(tree, sealing.key()), inclusions=inclusions)
    (data / ENTRIES).write_bytes(b"".join(line + b"\n" for line in own.values()))
    (data / PROOF).write_bytes(canonical(proof))


def slope(xs, ys) -> float:
    """Return the exponent of the power of x that fits y, by least squares on logarithms."""
    logs = [(math.log(x), math.log(y)) for x, y in zip(xs, ys, strict=True)]
    mean_x, mean_y = (sum(part) / len(logs) for part in zip(*logs, strict=True))
    return sum((x - mean_x) * (y - mean_y) for x, y in logs) / sum(
        (x - mean_x) ** 2 for x, _ in logs
    )


def test_bytes_and_work_of_a_bag_grow_by_less_than_the_tenth_power(bag, tmp_path, record_property):
    """The work is counted in calls of functions, which are the same on every machine."""
    sizes, calls = [], []
    for charges in CHARGES:
        copy = shutil.copytree(bag, tmp_path / str(charges))
        in_ledger_of(copy / "data", charges * ENTRIES_OF_CHARGE)
        sizes.append(sum(path.stat().st_size for path in copy.rglob("*") if path.is_file()))
        profile = cProfile.Profile()
        ledger, proof = profile.runcall(read_bag_ledger, copy / "data")
        calls.append(pstats.Stats(profile).total_calls)
        assert proof is not None
        assert "entry-not-in-ledger" not in sealing.kinds(ledger.differences)
        assert "proof-incomplete" not in sealing.kinds(ledger.differences)
    by_bytes, by_calls = slope(CHARGES, sizes), slope(CHARGES, calls)
    record_property("bytes", sizes)
    record_property("calls", calls)
    record_property("exponents", (by_bytes, by_calls))
    assert by_bytes < 0.1
    assert by_calls < 0.1
