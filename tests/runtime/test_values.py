"""Dataclasses that share their methods, against the standard library's."""

import dataclasses
import inspect
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
    for change in (
        lambda one: setattr(one, "number", 2),
        lambda one: setattr(one, "other", 2),
        lambda one: delattr(one, "number"),
    ):
        said = []
        for kind in (ours, standard):
            with pytest.raises(dataclasses.FrozenInstanceError) as refused:
                change(kind(1))
            said.append(str(refused.value))
        assert said[0] == said[1]
    assert dataclasses.replace(ours(1), hours=3.0) == ours(1, 3.0)
    assert dataclasses.fields(ours)[0].name == "number"
    assert pickle.loads(pickle.dumps(Pickled(1))) == Pickled(1)


def begun(decorator):
    """Return a class that inherits fields, takes some by name only, and sets one itself."""

    @decorator(frozen=True)
    class Begun(made(decorator)):
        """A step that began."""

        at: str = "now"
        by: str = dataclasses.field(kw_only=True)
        answers: tuple = dataclasses.field(default=(), kw_only=True)

        def __post_init__(self):
            object.__setattr__(self, "at", self.at.upper())

    return Begun


@pytest.mark.parametrize("way", [made, begun])
def test_it_is_made_as_a_standard_one_is(way):
    ours, standard = way(dataclass), way(dataclasses.dataclass)
    for (name, mine), theirs in zip(
        inspect.signature(ours).parameters.items(),
        inspect.signature(standard).parameters.values(),
        strict=True,
    ):
        assert mine.kind is theirs.kind, name
        assert (mine.default is mine.empty) is (theirs.default is theirs.empty), name
        assert mine.annotation == theirs.annotation, name
    for values, named in (
        ((), {}),
        ((1,), {}),
        ((1, 2.0), {}),
        ((1,), {"notes": [2], "by": "A"}),
        ((1, 2.0, [3], "then"), {"by": "A", "answers": (1,)}),
        ((1, 2.0, [3], "then", "A"), {"by": "A"}),
        ((1,), {"number": 1}),
        ((1,), {"unknown": 1}),
    ):
        found = []
        for kind in (ours, standard):
            try:
                found.append(vars(kind(*values, **named)))
            except TypeError as error:
                found.append(str(error))
        assert found[0] == found[1]
    by = {"by": "A"} if way is begun else {}
    assert ours(1, **by).notes is not ours(1, **by).notes


def test_a_class_of_its_own_kind_keeps_its_methods():
    @dataclass(frozen=True)
    class Named:
        name: str

        def __eq__(self, other):
            return self.name.lower() == other.name.lower()

        __hash__ = None

    assert Named("A") == Named("a")
    assert dataclass(frozen=True, order=True)(type("V", (), {"__annotations__": {"v": int}}))(1)
