"""Encodes values for the store.

The store lies beside the site, where people may have write access who must not run programs as the
mill. So it holds only data, never code: JSON in which every type that JSON lacks is an object with
one member, the name of its kind and its parts. Decoding builds objects of the package's own data
classes and models, field by field, and of a few standard types; it never calls anything that the
bytes name. JSON's reader, which is written in C, asks for each of them once its parts are read, so
Python visits no others.

Equal values have the same bytes in every process, so their digest tells whether a value changed.
"""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import json
import sys
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence, Set
from contextlib import contextmanager
from enum import Enum
from functools import cache, lru_cache
from importlib import import_module
from itertools import chain
from operator import attrgetter
from pathlib import Path, PurePath, PurePosixPath
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pydantic_core import PydanticSerializationError, to_json

#: The package whose classes the store may hold.
_OWN = __name__.partition(".")[0]
#: Kinds of array that may be stored: numbers and times, not objects.
_ARRAY_KINDS = "biufcMmSU"
#: Bytes from which a value is compressed; what is written below that is no larger and much faster.
_WORTH_COMPRESSING = 512
#: Compressed data begins with its size in memory, and so with a byte below that of any of JSON.
_SIZE, _LARGEST = 4, (1 << 28) - 1
_BELOW_TEXT = b" "
#: What an object takes in memory, one of the package's own or another, beside its text [bytes].
_OWN_OBJECT, _OTHER_OBJECT = 400, 200


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
    text = _as_json(_packed(value))
    if len(text) < _WORTH_COMPRESSING:
        return text
    size = min(_size_of_text(text), _LARGEST)
    return size.to_bytes(_SIZE, "big") + zlib.compress(text, 1)


def size_in_memory(data: bytes) -> int:
    """Return about how many bytes a value takes once it is decoded."""
    return int.from_bytes(data[:_SIZE], "big") if data < _BELOW_TEXT else _size_of_text(data)


def _size_of_text(text: bytes) -> int:
    own = text.count(f'{{"{_OWN}.'.encode())
    others = text.count(b'{"') - own
    return len(text) + own * _OWN_OBJECT + others * _OTHER_OBJECT


def _packed(value: Any) -> Any:
    return value if type(value) in _JSON else _PACK[type(value)](value)


def _as_json(packed: Any) -> bytes:
    """Return plain data as JSON; pydantic's writer takes a third of the time of Python's."""
    try:
        return to_json(packed, inf_nan_mode="constants")
    except PydanticSerializationError:  # half a surrogate pair, or very deep nesting
        return _ENCODER.encode(packed).encode("utf-8", "surrogatepass")


def _text_of(late: Late) -> str:
    return _as_json(_packed(late.stored())).decode("utf-8", "surrogatepass")


def decode(data: bytes) -> Any:
    """Return the value that these bytes encode.

    Raises
    ------
    UnreadableError
        The bytes were not written by `encode`.
    """
    with _only_unreadable():
        text = zlib.decompress(data[_SIZE:]) if data < _BELOW_TEXT else data
        return _loaded(text.decode("utf-8", "surrogatepass"))


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

Pack = Callable[[Any], Any]

#: Types that JSON has, as Python writes it: with NaN and Infinity. They are tested for before each
#: call, because most parts are of these.
_JSON = frozenset({str, int, float, bool, type(None)})
_ENCODER = json.JSONEncoder(ensure_ascii=False, check_circular=False, separators=(",", ":"))


def _all_packed(values: Iterable[Any]) -> list[Any]:
    return [one if type(one) in _JSON else _PACK[type(one)](one) for one in values]


def _mapping(kind: str) -> Pack:
    return lambda value: {kind: _all_packed(chain.from_iterable(value.items()))}


def _datetime(value: dt.datetime) -> dict[str, list[Any]]:
    zone = value.tzinfo
    if isinstance(zone, ZoneInfo):
        return {"datetime": [value.replace(tzinfo=None).isoformat(), zone.key, value.fold]}
    if type(zone).__module__.startswith("pydantic_core"):  # pydantic's own zone for an offset
        seconds = int(zone.utcoffset(None).total_seconds())  # type: ignore[union-attr]
        return {"datetime": [value.replace(tzinfo=None).isoformat(), seconds, value.fold]}
    return {"datetime": [value.isoformat(), None, value.fold]}


def _array(value: Any) -> dict[str, list[Any]]:
    return {"array": _array_parts(value)}


def _array_parts(value: Any) -> list[Any]:
    if value.dtype.kind not in _ARRAY_KINDS:
        raise TypeError(f"an array of {value.dtype} cannot be kept")
    data = base64.b64encode(value.tobytes()).decode("ascii")
    return [value.dtype.str, list(value.shape), data]


class _Packers(dict[type, Pack]):
    """The function that packs values of each class; those of other classes are found when needed."""

    def __missing__(self, kind: type) -> Pack:
        pack = self[kind] = _pack_for(kind)
        return pack


_PACK = _Packers(
    {
        list: _all_packed,
        tuple: lambda value: {"tuple": _all_packed(value)},
        set: lambda value: {"set": _all_packed(sorted(value, key=repr))},
        frozenset: lambda value: {"frozenset": _all_packed(sorted(value, key=repr))},
        dict: _mapping("dict"),
        Counter: _mapping("counter"),
        bytes: lambda value: {"bytes": [base64.b64encode(value).decode("ascii")]},
        dt.datetime: _datetime,
        dt.date: lambda value: {"date": [value.isoformat()]},
        dt.time: lambda value: {"time": [value.isoformat()]},
        dt.timedelta: lambda value: {"timedelta": [value.days, value.seconds, value.microseconds]},
        ZoneInfo: lambda value: {"zone": [value.key]},
    }
)


def _pack_for(kind: type) -> Pack:
    """Return the function that packs values of a class."""
    if issubclass(kind, PurePath):
        name = "path" if issubclass(kind, Path) else "pure-path"
        return lambda value: {name: [value.as_posix()]}
    if kind.__module__.partition(".")[0] == "numpy":
        if hasattr(kind, "tobytes") and kind.__name__ == "ndarray":
            return _array
        return lambda value: {"scalar": _array_parts(value.reshape(1))}
    if kind.__module__ == "markupsafe":
        return lambda value: {"markup": [str.__str__(value)]}
    return _pack_own(kind)


def _pack_own(kind: Any) -> Pack:
    """Return the function that packs objects of one of the package's own classes."""
    name = _name(kind)
    if issubclass(kind, Enum):
        return lambda value: {"enum": [name, value.name]}
    if issubclass(kind, tuple):
        return lambda value: {"named": [name, *_all_packed(value)]}
    if issubclass(kind, (str, float, int)):
        return lambda value: {
            "word": [name, _plain(value), *_all_packed(chain.from_iterable(vars(value).items()))]
        }
    if issubclass(kind, Late):
        return lambda value: {"late": [name, value.__dict__.get("_stored") or _text_of(value)]}
    fields, shape = _fields(kind), _shape(kind)
    values_of = _getter(fields)

    def pack(value: Any) -> dict[str, list[Any]]:
        return {shape: _all_packed(values_of(value))}

    def pack_model(value: Any) -> dict[str, list[Any]]:
        parts = _all_packed(values_of(value))
        parts.append(_given(value.model_fields_set, fields))
        return {shape: parts}

    return pack_model if _is_model(kind) else pack


def _getter(fields: Sequence[str]) -> Callable[[Any], Iterable[Any]]:
    """Return what returns the values of some fields."""
    if len(fields) > 1:
        return attrgetter(*fields)
    return lambda value: [getattr(value, field) for field in fields]  # `attrgetter` makes no tuple


def _given(given: Set[str], fields: Sequence[str]) -> int:
    """Return which fields of a model were given, not left at their defaults, as bits."""
    if len(given) == len(fields):
        return -1
    return sum(1 << place for place, field in enumerate(fields) if field in given)


def _plain(value: Any) -> Any:
    """Return the plain word or number below a value whose class adds attributes to it."""
    if isinstance(value, str):
        return str.__str__(value)
    return float.__float__(value) if isinstance(value, float) else int(value)


# --- and back -------------------------------------------------------------------------------------

Make = Callable[[list[Any]], Any]


def _pairs(parts: list[Any]) -> dict[Any, Any]:
    values = iter(parts)
    return dict(zip(values, values, strict=True))


@lru_cache(4096)  # the times of a record stand in several places of its review
def _moment(text: str, zone: str | int | None, fold: int) -> dt.datetime:
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


def _make_array(parts: list[Any]) -> Any:
    import numpy as np

    kind, shape, text = parts
    dtype = np.dtype(kind)
    if dtype.kind not in _ARRAY_KINDS:
        raise UnreadableError(f"an array of {dtype}")
    return np.frombuffer(base64.b64decode(text), dtype).reshape(shape).copy()


def _make_late(parts: list[Any]) -> Any:
    name, text = parts
    cls = _class(name)
    if not issubclass(cls, Late) or not isinstance(text, str):
        raise UnreadableError(f"{name} is not decoded late")
    made = object.__new__(cls)
    vars(made)["_stored"] = text
    return made


def _make_enum(parts: list[Any]) -> Any:
    name, member = parts
    return _class(name)[member]


def _make_named(parts: list[Any]) -> Any:
    return tuple.__new__(_class(parts[0]), parts[1:])


def _make_word(parts: list[Any]) -> Any:
    name, plain, *attributes = parts
    cls = _class(name)
    base = next(kind for kind in (str, float, int) if issubclass(cls, kind))
    made = base.__new__(cls, plain)
    vars(made).update(_pairs(attributes))
    return made


def _make_markup(parts: list[Any]) -> Any:
    from markupsafe import Markup

    return Markup("".join(parts))


class _Makers(dict[str, Make]):
    """What makes a value of each kind from its parts; own classes are added when they are met."""

    def __missing__(self, shape: str) -> Make:
        make = self[shape] = _maker_of(shape)
        return make


_MAKE = _Makers(
    {
        "tuple": tuple,
        "set": set,
        "frozenset": frozenset,
        "dict": _pairs,
        "counter": lambda parts: Counter(_pairs(parts)),
        "bytes": lambda parts: base64.b64decode(*parts),
        "datetime": lambda parts: _moment(*parts),
        "date": lambda parts: dt.date.fromisoformat(*parts),
        "time": lambda parts: dt.time.fromisoformat(*parts),
        "timedelta": lambda parts: dt.timedelta(*parts),
        "zone": lambda parts: ZoneInfo(*parts),
        "path": lambda parts: Path(*parts),
        "pure-path": lambda parts: PurePosixPath(*parts),
        "array": _make_array,
        "scalar": lambda parts: _make_array(parts)[0],
        "markup": _make_markup,
        "enum": _make_enum,
        "named": _make_named,
        "word": _make_word,
        "late": _make_late,
    }
)


def _made(pairs: list[tuple[str, list[Any]]]) -> Any:
    """Return the value that a JSON object stands for; JSON's reader calls this, innermost first."""
    ((kind, parts),) = pairs
    return _MAKE[kind](parts)


_loaded = json.JSONDecoder(object_pairs_hook=_made).decode


def _maker_of(shape: str) -> Make:
    """Return what makes objects of one of the package's own data classes."""
    cls = _class(shape.partition("#")[0])
    if _shape(cls) != shape:
        raise UnreadableError(f"{cls.__name__} has other fields")
    fields, put = _fields(cls), object.__setattr__
    frozen = _is_model(cls) and cls.model_config.get("frozen")

    def make(parts: list[Any]) -> Any:
        made = object.__new__(cls)
        for field, value in zip(fields, parts, strict=True):
            put(made, field, value)
        return made

    def make_model(parts: list[Any]) -> Any:
        given = _fields_given(fields, parts.pop())
        made = cls.__new__(cls)
        # what copying sets, and several times as fast as model_construct
        put(made, "__dict__", dict(zip(fields, parts, strict=True)))
        put(made, "__pydantic_fields_set__", given if frozen else {*given})
        put(made, "__pydantic_extra__", None)
        put(made, "__pydantic_private__", None)
        return made

    return make_model if _is_model(cls) else make


@cache
def _fields_given(fields: tuple[str, ...], given: int) -> set[str]:
    """Return which fields were given; models that cannot change share the set."""
    return {field for place, field in enumerate(fields) if given >> place & 1}


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
