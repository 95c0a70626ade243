"""Frozen dataclasses that are quick to define.

The standard decorator writes and compiles six methods for each class when its module is imported.
For the hundred such classes of a review that took longer than the review. Here the comparison, the
hash and the text of a frozen class come from functions that all of them share, which leaves a third
of the time; they give the same results.
"""

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    import dataclasses
    from functools import partial

    def dataclass(cls=None, /, **options):
        """Make a class a dataclass, as `dataclasses.dataclass` does and with its options."""
        if cls is None:
            return partial(dataclass, **options)
        if options != {"frozen": True} or {"__eq__", "__hash__", "__repr__"} & vars(cls).keys():
            return dataclasses.dataclass(cls, **options)
        cls.__eq__, cls.__hash__, cls.__repr__ = _equal, _hash, _text
        made = dataclasses.dataclass(cls, frozen=True, eq=False, repr=False)
        made.__compared__ = [one.name for one in dataclasses.fields(made) if one.compare]
        return made

    def _equal(self, other):
        if other.__class__ is not self.__class__:
            return NotImplemented
        return _compared(self) == _compared(other)

    def _hash(self):
        return hash(_compared(self))

    def _compared(self):
        return tuple([getattr(self, name) for name in self.__compared__])

    def _text(self):
        said = [
            f"{one.name}={getattr(self, one.name)!r}"
            for one in dataclasses.fields(self)
            if one.repr
        ]
        return f"{self.__class__.__qualname__}({', '.join(said)})"


__all__ = ["dataclass"]
