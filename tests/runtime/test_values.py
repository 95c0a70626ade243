"""Dataclasses that share their methods, against the standard library's."""

import dataclasses
import pickle

import pytest

from kilnfolio.runtime.values import dataclass


def made(decorator):
    @decorator(frozen=True)
    class Step:
        """A step."""

        number: int
        hours: float = 0.0
        notes: list = dataclasses.field(default_factory=list, compare=False, repr=False)

    return Step


ours, standard = made(dataclass), made(dataclasses.dataclass)


@dataclass(frozen=True)
class Pickled:
    """At the head of a module, where pickle finds it."""

    number: int


def test_text_comparison_and_hash_are_the_standard_ones():
    assert repr(ours(1, 2.5)) == repr(standard(1, 2.5))
    assert ours(1, notes=[1]) == ours(1, notes=[2])
    assert all(ours(1) != other for other in (ours(2), standard(1), (1, 0.0)))
    assert hash(ours(1, 2.5)) == hash(standard(1, 2.5))
    assert ours.__match_args__ == standard.__match_args__


def test_it_is_a_frozen_dataclass():
    with pytest.raises(dataclasses.FrozenInstanceError):
        ours(1).number = 2
    assert dataclasses.replace(ours(1), hours=3.0) == ours(1, 3.0)
    assert dataclasses.fields(ours)[0].name == "number"
    assert pickle.loads(pickle.dumps(Pickled(1))) == Pickled(1)


def test_a_class_of_its_own_kind_keeps_its_methods():
    @dataclass(frozen=True)
    class Named:
        name: str

        def __eq__(self, other):
            return self.name.lower() == other.name.lower()

        __hash__ = None

    assert Named("A") == Named("a")
    assert dataclass(frozen=True, order=True)(type("V", (), {"__annotations__": {"v": int}}))(1)
