"""Encodes values for the store.

The store lies beside the site, where people may have write access who must not run programs as the
mill. So it holds only data, never code: JSON in which every type that JSON lacks is a list that
begins with the name of its kind. Decoding builds objects of the package's own data classes and
models, field by field, and of a few standard types; it never calls anything that the bytes name.

Equal values have the same bytes in every process, so their digest tells whether a value changed.
"""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import json
import math
import sys
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from enum import Enum
from functools import cache
from importlib import import_module
from itertools import chain
from pathlib import Path, PurePath, PurePosixPath
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

#: The package whose classes the store may hold.
_OWN = __name__.partition(".")[0]
#: Kinds of array that may be stored: numbers and times, not objects.
_ARRAY_KINDS = "biufcMmSU"


class UnreadableError(Exception):
    """Bytes in the store were not written by `encode`."""


class Late:
    """Base of large data classes, decoded only when one of their fields is first asked for."""

    def stored(self) -> Any:
        """Return the object's fields as simpler data."""
        raise NotImplementedError

    @staticmethod
    def restored(stored: Any) -> dict[str, Any]:
        """Return the fields that `stored` made simpler."""
        raise NotImplementedError

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            """Decode the fields; Python calls this only for an attribute that is missing."""
            text = vars(self).pop("_stored", None)
            if text is None:
                raise AttributeError(f"{type(self).__name__} has no '{name}'")
            with _only_unreadable():
                vars(self).update(self.restored(_loaded(text)))
            return getattr(self, name)


def encode(value: Any) -> bytes:
    """Return a value as bytes for the store.

    Raises
    ------
    TypeError
        It contains something other than data.
    """
    return zlib.compress(_dumped(value).encode("utf-8", "surrogatepass"), 1)


def _dumped(value: Any) -> str:
    return json.dumps(_packed(value), ensure_ascii=False, separators=(",", ":"))


def decode(data: bytes) -> Any:
    """Return the value that these bytes encode.

    Raises
    ------
    UnreadableError
        The bytes were not written by `encode`.
    """
    with _only_unreadable():
        return _loaded(zlib.decompress(data).decode("utf-8", "surrogatepass"))


def _loaded(text: str) -> Any:
    return _unpacked(json.loads(text, object_pairs_hook=_no_mapping))


def _no_mapping(_: object) -> Any:
    raise UnreadableError("a mapping stands where none is written")


@contextmanager
def _only_unreadable() -> Iterator[None]:
    """Raise `UnreadableError` for whatever reading foreign bytes may raise."""
    try:
        yield
    except (
        zlib.error,
        ValueError,
        TypeError,
        LookupError,
        AttributeError,
        ImportError,
        RecursionError,
    ) as error:
        raise UnreadableError(f"{type(error).__name__}: {error}") from error


# --- to plain data --------------------------------------------------------------------------------


#: Types that JSON has. They are tested for before each call, because most parts are of these.
_JSON = frozenset({str, int, bool, type(None)})


def _packed(value: Any) -> Any:
    kind = type(value)
    if kind in _JSON:
        return value
    if kind is float:
        return value if math.isfinite(value) else ["float", repr(value)]
    pack = _PACK.get(kind) or _pack_for(kind)
    return pack(value)


def _all_packed(values: Iterable[Any]) -> list[Any]:
    return [one if type(one) in _JSON else _packed(one) for one in values]


def _items(kind: str) -> Callable[[Any], list[Any]]:
    return lambda value: [kind, *_all_packed(value)]


def _mapping(kind: str) -> Callable[[Any], list[Any]]:
    return lambda value: [kind, *_all_packed(chain.from_iterable(value.items()))]


def _datetime(value: dt.datetime) -> list[Any]:
    zone = value.tzinfo
    if isinstance(zone, ZoneInfo):
        return ["datetime", value.replace(tzinfo=None).isoformat(), zone.key, value.fold]
    if type(zone).__module__.startswith("pydantic_core"):  # pydantic's own zone for an offset
        seconds = int(zone.utcoffset(None).total_seconds())  # type: ignore[union-attr]
        return ["datetime", value.replace(tzinfo=None).isoformat(), seconds, value.fold]
    return ["datetime", value.isoformat(), None, value.fold]


def _array(value: Any) -> list[Any]:
    if value.dtype.kind not in _ARRAY_KINDS:
        raise TypeError(f"an array of {value.dtype} cannot be kept")
    return [
        "array",
        value.dtype.str,
        list(value.shape),
        base64.b64encode(value.tobytes()).decode("ascii"),
    ]


_PACK: dict[type, Callable[[Any], Any]] = {
    list: _items("list"),
    tuple: _items("tuple"),
    set: lambda value: ["set", *map(_packed, sorted(value, key=repr))],
    frozenset: lambda value: ["frozenset", *map(_packed, sorted(value, key=repr))],
    dict: _mapping("dict"),
    Counter: _mapping("counter"),
    bytes: lambda value: ["bytes", base64.b64encode(value).decode("ascii")],
    dt.datetime: _datetime,
    dt.date: lambda value: ["date", value.isoformat()],
    dt.time: lambda value: ["time", value.isoformat()],
    dt.timedelta: lambda value: ["timedelta", value.days, value.seconds, value.microseconds],
    ZoneInfo: lambda value: ["zone", value.key],
}


def _pack_for(kind: type) -> Callable[[Any], Any]:
    """Return the function that packs values of a class, and register it."""
    if issubclass(kind, PurePath):
        name = "path" if issubclass(kind, Path) else "pure-path"
        pack: Callable[[Any], Any] = lambda value: [name, value.as_posix()]  # noqa: E731
    elif kind.__module__.partition(".")[0] == "numpy":
        pack = (
            _array
            if hasattr(kind, "tobytes") and kind.__name__ == "ndarray"
            else lambda value: ["scalar", *_array(value.reshape(1))[1:]]
        )
    elif kind.__module__ == "markupsafe":
        pack = lambda value: ["markup", str.__str__(value)]  # noqa: E731
    else:
        pack = _pack_own(kind)
    _PACK[kind] = pack
    return pack


def _pack_own(kind: Any) -> Callable[[Any], Any]:
    """Return the function that packs objects of one of the package's own classes."""
    name = _name(kind)
    if issubclass(kind, Enum):
        return lambda value: ["enum", name, value.name]
    if issubclass(kind, tuple):
        return lambda value: ["named", name, *_all_packed(value)]
    if issubclass(kind, (str, float, int)):
        return lambda value: [
            "word",
            name,
            _plain(value),
            *_all_packed(chain.from_iterable(vars(value).items())),
        ]
    if issubclass(kind, Late):
        return lambda value: [
            "late",
            name,
            value.__dict__.get("_stored") or _dumped(value.stored()),
        ]
    fields, shape = _fields(kind), _shape(kind)

    def packed_fields(value: Any) -> list[Any]:
        return _all_packed([getattr(value, field) for field in fields])

    if _is_model(kind):
        return lambda value: ["model", shape, _given(value, fields), *packed_fields(value)]
    return lambda value: ["object", shape, *packed_fields(value)]


def _given(value: Any, fields: Sequence[str]) -> int:
    """Return which fields of a model were given, not left at their defaults, as bits."""
    given = value.model_fields_set
    if len(given) == len(fields):
        return -1
    return sum(1 << place for place, field in enumerate(fields) if field in given)


def _plain(value: Any) -> Any:
    """Return the plain word or number below a value whose class adds attributes to it."""
    if isinstance(value, str):
        return str.__str__(value)
    return ["float", float.__repr__(value)] if isinstance(value, float) else int(value)


# --- and back -------------------------------------------------------------------------------------


def _unpacked(data: Any) -> Any:
    return _UNPACK[data[0]](data) if type(data) is list else data


def _parts(data: list[Any], start: int = 1) -> list[Any]:
    """Return the values in a list from a place on; the first says what kind it is."""
    return [_UNPACK[one[0]](one) if type(one) is list else one for one in data[start:]]


def _pairs(data: list[Any], start: int = 1) -> dict[Any, Any]:
    values = iter(_parts(data, start))
    return dict(zip(values, values, strict=True))


def _read_datetime(data: list[Any]) -> dt.datetime:
    _, text, zone, fold = data
    moment = dt.datetime.fromisoformat(text)
    if fold:
        moment = moment.replace(fold=fold)
    return moment if zone is None else moment.replace(tzinfo=_zone(zone))


@cache
def _zone(name: str | int) -> dt.tzinfo:
    """Return a zone by name, or pydantic's own by its offset [s]."""
    if isinstance(name, str):
        return ZoneInfo(name)
    from pydantic_core import TzInfo

    return TzInfo(name)


def _read_array(data: list[Any]) -> Any:
    import numpy as np

    _, kind, shape, text = data
    dtype = np.dtype(kind)
    if dtype.kind not in _ARRAY_KINDS:
        raise UnreadableError(f"an array of {dtype}")
    return np.frombuffer(base64.b64decode(text), dtype).reshape(shape).copy()


def _read_late(data: list[Any]) -> Any:
    _, name, text = data
    cls = _class(name)
    if not issubclass(cls, Late) or not isinstance(text, str):
        raise UnreadableError(f"{name} is not decoded late")
    made = object.__new__(cls)
    vars(made)["_stored"] = text
    return made


def _read_object(data: list[Any]) -> Any:
    cls, fields = _class_of_shape(data[1])
    made = object.__new__(cls)
    for field, value in zip(fields, _parts(data, 2), strict=True):
        object.__setattr__(made, field, value)
    return made


def _read_model(data: list[Any]) -> Any:
    cls, fields = _class_of_shape(data[1])
    made = cls.__new__(cls)
    # what copying calls, and several times as fast as model_construct
    made.__setstate__(
        {
            "__dict__": dict(zip(fields, _parts(data, 3), strict=True)),
            "__pydantic_fields_set__": {*_fields_given(fields, data[2])},
            "__pydantic_extra__": None,
            "__pydantic_private__": None,
        }
    )
    return made


@cache
def _fields_given(fields: tuple[str, ...], given: int) -> tuple[str, ...]:
    return tuple(field for place, field in enumerate(fields) if given >> place & 1)


def _read_enum(data: list[Any]) -> Any:
    _, name, member = data
    return _class(name)[member]


def _read_named(data: list[Any]) -> Any:
    return tuple.__new__(_class(data[1]), _parts(data, 2))


def _read_word(data: list[Any]) -> Any:
    _, name, plain, *_ = data
    cls = _class(name)
    base = next(kind for kind in (str, float, int) if issubclass(cls, kind))
    made = base.__new__(cls, _unpacked(plain))
    vars(made).update(_pairs(data, 3))
    return made


_UNPACK: dict[str, Callable[[list[Any]], Any]] = {
    "float": lambda data: float(data[1]),
    "list": _parts,
    "tuple": lambda data: tuple(_parts(data)),
    "set": lambda data: set(_parts(data)),
    "frozenset": lambda data: frozenset(_parts(data)),
    "dict": _pairs,
    "counter": lambda data: Counter(_pairs(data)),
    "bytes": lambda data: base64.b64decode(data[1]),
    "datetime": _read_datetime,
    "date": lambda data: dt.date.fromisoformat(data[1]),
    "time": lambda data: dt.time.fromisoformat(data[1]),
    "timedelta": lambda data: dt.timedelta(*data[1:]),
    "zone": lambda data: ZoneInfo(data[1]),
    "path": lambda data: Path(data[1]),
    "pure-path": lambda data: PurePosixPath(data[1]),
    "array": _read_array,
    "scalar": lambda data: _read_array(data)[0],
    "markup": lambda data: _markup(data[1]),
    "enum": _read_enum,
    "named": _read_named,
    "word": _read_word,
    "model": _read_model,
    "object": _read_object,
    "late": _read_late,
}


def _markup(text: str) -> Any:
    from markupsafe import Markup

    return Markup(text)


# --- the package's own classes --------------------------------------------------------------------


def _name(cls: type) -> str:
    generic = getattr(cls, "__pydantic_generic_metadata__", {})
    if generic.get("origin"):  # a parametrized model has no name of its own
        # Annotated[Density, …] holds a Density; what it asks of its value was asked when it was read
        kinds = (getattr(one, "__origin__", one) for one in generic["args"])
        return f"{_name(generic['origin'])}[{','.join(map(_name, kinds))}]"
    if cls.__module__.partition(".")[0] != _OWN or "<" in cls.__qualname__ or not _is_data(cls):
        raise TypeError(f"{cls.__module__}.{cls.__qualname__} cannot be kept in the store")
    return f"{cls.__module__}:{cls.__qualname__}"


@cache
def _class(name: str) -> Any:
    """Return one of the package's own data classes by name."""
    if name.endswith("]"):
        origin, _, made_for = name[:-1].partition("[")
        found: Any = _class(origin)[tuple(map(_class, made_for.split(",")))]
        return found
    module, _, path = name.partition(":")
    if module.partition(".")[0] != _OWN:
        raise UnreadableError(f"{name} is no class of the package")
    found = sys.modules.get(module) or import_module(module)
    for part in path.split("."):
        found = vars(found)[part]
    if not isinstance(found, type) or found.__module__ != module or not _is_data(found):
        raise UnreadableError(f"{name} is no class of data")
    return found


def _is_data(cls: type) -> bool:
    """Return whether a class is plain data: its objects consist of their fields alone."""
    return (
        dataclasses.is_dataclass(cls)
        or _is_model(cls)
        or issubclass(cls, Enum)
        or (issubclass(cls, tuple) and hasattr(cls, "_fields"))
        or issubclass(cls, (str, float, int))
    )


def _is_model(cls: Any) -> bool:
    return hasattr(cls, "model_fields")


@cache
def _fields(cls: Any) -> tuple[str, ...]:
    """Return the names of a class's fields."""
    if dataclasses.is_dataclass(cls):
        return tuple(field.name for field in dataclasses.fields(cls))
    return tuple(cls.model_fields)


def _shape(cls: Any) -> str:
    """Return a class's name and a sum over those of its fields, whose values follow in order."""
    return f"{_name(cls)}#{zlib.crc32(' '.join(_fields(cls)).encode()):08x}"


@cache
def _class_of_shape(shape: str) -> tuple[Any, tuple[str, ...]]:
    """Return one of the package's own data classes, and the names of its fields."""
    cls = _class(shape.partition("#")[0])
    if _shape(cls) != shape:
        raise UnreadableError(f"{cls.__name__} has other fields")
    return cls, _fields(cls)
