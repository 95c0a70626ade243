"""Encodes values for the store, and digests them.

The store lies beside the site, where people may have write access who must not run programs as the
mill. So it holds only data, never code: JSON in which every type that JSON lacks is a list that
begins with the name of its kind. Decoding builds objects of the package's own data classes and
models, field by field, and of a few standard types; it never calls anything that the bytes name.
"""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import hashlib
import json
import math
import sys
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
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
    return _unpacked(json.loads(text))


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


def digest_of(value: Any) -> bytes:
    """Return a digest that is the same for equal values in every process."""
    text = value.model_dump_json() if hasattr(value, "model_dump_json") else repr(value)
    return hashlib.sha256(text.encode()).digest()


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
            {field: _packed(one) for field, one in vars(value).items()},
        ]
    if issubclass(kind, Late):
        return lambda value: [
            "late",
            name,
            value.__dict__.get("_stored") or _dumped(value.stored()),
        ]
    fields = sorted(_fields(kind))

    def packed_fields(value: Any) -> dict[str, Any]:
        values = _all_packed([getattr(value, field) for field in fields])
        return dict(zip(fields, values, strict=True))

    if _is_model(kind):
        return lambda value: ["model", name, sorted(value.model_fields_set), packed_fields(value)]
    return lambda value: ["object", name, packed_fields(value)]


def _plain(value: Any) -> Any:
    """Return the plain word or number below a value whose class adds attributes to it."""
    if isinstance(value, str):
        return str.__str__(value)
    return ["float", float.__repr__(value)] if isinstance(value, float) else int(value)


# --- and back -------------------------------------------------------------------------------------


def _unpacked(data: Any) -> Any:
    if not isinstance(data, list):
        if isinstance(data, dict):
            raise UnreadableError("a mapping stands where none is written")
        return data
    kind, *parts = data
    return _UNPACK[kind](parts)


def _pairs(parts: list[Any]) -> dict[Any, Any]:
    values = iter(map(_unpacked, parts))
    return dict(zip(values, values, strict=True))


def _read_datetime(parts: list[Any]) -> dt.datetime:
    text, zone, fold = parts
    moment = dt.datetime.fromisoformat(text).replace(fold=fold)
    if isinstance(zone, str):
        return moment.replace(tzinfo=ZoneInfo(zone))
    if zone is None:
        return moment
    from pydantic_core import TzInfo

    return moment.replace(tzinfo=TzInfo(zone))


def _read_array(parts: list[Any]) -> Any:
    import numpy as np

    kind, shape, data = parts
    dtype = np.dtype(kind)
    if dtype.kind not in _ARRAY_KINDS:
        raise UnreadableError(f"an array of {dtype}")
    return np.frombuffer(base64.b64decode(data), dtype).reshape(shape).copy()


def _unpacked_fields(cls: Any, packed: dict[str, Any]) -> dict[str, Any]:
    if packed.keys() != _fields(cls):
        raise UnreadableError(f"{cls.__name__} has other fields")
    return {field: _unpacked(one) for field, one in packed.items()}


def _read_late(parts: list[Any]) -> Any:
    name, text = parts
    cls = _class(name)
    if not issubclass(cls, Late) or not isinstance(text, str):
        raise UnreadableError(f"{name} is not decoded late")
    made = object.__new__(cls)
    vars(made)["_stored"] = text
    return made


def _read_object(parts: list[Any]) -> Any:
    name, packed = parts
    cls = _class(name)
    made = object.__new__(cls)
    for field, value in _unpacked_fields(cls, packed).items():
        object.__setattr__(made, field, value)
    return made


def _read_model(parts: list[Any]) -> Any:
    name, given, packed = parts
    cls = _class(name)
    return cls.model_construct(_fields_set=set(given), **_unpacked_fields(cls, packed))


def _read_enum(parts: list[Any]) -> Any:
    name, member = parts
    return _class(name)[member]


def _read_named(parts: list[Any]) -> Any:
    name, *values = parts
    return tuple.__new__(_class(name), map(_unpacked, values))


def _read_word(parts: list[Any]) -> Any:
    name, plain, packed = parts
    cls = _class(name)
    base = next(kind for kind in (str, float, int) if issubclass(cls, kind))
    made = base.__new__(cls, _unpacked(plain))
    vars(made).update({field: _unpacked(one) for field, one in packed.items()})
    return made


_UNPACK: dict[str, Callable[[list[Any]], Any]] = {
    "float": lambda parts: float(parts[0]),
    "list": lambda parts: [*map(_unpacked, parts)],
    "tuple": lambda parts: tuple(map(_unpacked, parts)),
    "set": lambda parts: {*map(_unpacked, parts)},
    "frozenset": lambda parts: frozenset(map(_unpacked, parts)),
    "dict": _pairs,
    "counter": lambda parts: Counter(_pairs(parts)),
    "bytes": lambda parts: base64.b64decode(parts[0]),
    "datetime": _read_datetime,
    "date": lambda parts: dt.date.fromisoformat(parts[0]),
    "time": lambda parts: dt.time.fromisoformat(parts[0]),
    "timedelta": lambda parts: dt.timedelta(*parts),
    "zone": lambda parts: ZoneInfo(parts[0]),
    "path": lambda parts: Path(parts[0]),
    "pure-path": lambda parts: PurePosixPath(parts[0]),
    "array": _read_array,
    "scalar": lambda parts: _read_array(parts)[0],
    "markup": lambda parts: _markup(parts[0]),
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
def _fields(cls: Any) -> frozenset[str]:
    """Return the names of a class's fields."""
    if dataclasses.is_dataclass(cls):
        return frozenset(field.name for field in dataclasses.fields(cls))
    return frozenset(cls.model_fields)
