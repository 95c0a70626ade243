"""Frozen dataclasses that are quick to define.

The standard decorator writes and compiles six methods for each class when its module is imported.
For the hundreds of such classes that a build needs, this took a seventh of a build with one change.
Here a frozen class gets only its ``__init__`` written; all share the other methods, which give the
same results.
"""

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    import dataclasses
    from functools import partial
    from operator import attrgetter

    def dataclass(cls=None, /, **options):
        """Make a class a dataclass, as `dataclasses.dataclass` does and with its options."""
        if cls is None:
            return partial(dataclass, **options)
        if options != {"frozen": True} or {"__eq__", "__hash__", "__repr__"} & vars(cls).keys():
            return dataclasses.dataclass(cls, **options)
        cls.__eq__, cls.__hash__, cls.__repr__ = _equal, _hash, _text
        cls.__setattr__, cls.__delattr__ = _refuse_to_set, _refuse_to_delete
        made = dataclasses.dataclass(cls, init=False, eq=False, repr=False)
        made.__init__ = _init_of(made)
        made.__compared__ = _values_of(
            [one.name for one in dataclasses.fields(made) if one.compare]
        )
        return made

    def _init_of(made):
        """Write the method that assigns the fields of a new object."""
        known = {"_set": object.__setattr__, "_unset": dataclasses.MISSING}
        given, named, lines = [], [], ["pass"]
        for one in dataclasses.fields(made):
            name = parameter = value = one.name
            if one.default is not dataclasses.MISSING:
                known[f"_{name}"] = one.default
                parameter = f"{name}=_{name}"
            elif one.default_factory is not dataclasses.MISSING:
                known[f"_{name}"] = one.default_factory
                parameter, value = f"{name}=_unset", f"_{name}() if {name} is _unset else {name}"
            (named if one.kw_only else given).append(parameter)
            lines.append(f"_set(self, {name!r}, {value})")
        if hasattr(made, "__post_init__"):
            lines.append("self.__post_init__()")
        parameters = ", ".join(["self", *given, *(["*", *named] if named else [])])
        exec(f"def __init__({parameters}):\n " + "\n ".join(lines), known)
        init = known["__init__"]
        init.__qualname__ = f"{made.__qualname__}.__init__"
        init.__annotations__ = {one.name: one.type for one in dataclasses.fields(made)}
        return init

    def _values_of(names):
        """Return a function that returns the values of some fields."""
        if len(names) > 1:
            return attrgetter(*names)
        return staticmethod(lambda one: tuple([getattr(one, name) for name in names]))

    def _refuse_to_set(_, name, _value):
        raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")

    def _refuse_to_delete(_, name):
        raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")

    def _equal(self, other):
        if other.__class__ is not self.__class__:
            return NotImplemented
        return self.__compared__(self) == self.__compared__(other)

    def _hash(self):
        return hash(self.__compared__(self))

    def _text(self):
        said = [
            f"{one.name}={getattr(self, one.name)!r}"
            for one in dataclasses.fields(self)
            if one.repr
        ]
        return f"{self.__class__.__qualname__}({', '.join(said)})"


__all__ = ["dataclass"]
