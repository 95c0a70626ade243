"""Canonical JSON: exactly one way to write a record as bytes, so that its digest identifies it.

References
----------
.. [1] RFC 8785, JSON Canonicalization Scheme (JCS), 2020.
.. [2] FIPS 180-4, Secure Hash Standard, 2015.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import rfc8785
from pydantic import BaseModel
from pydantic_core import PydanticSerializationError, to_json

from kilnfolio.runtime.files import read_file

#: Integers up to here are exact doubles, and written without an exponent.
_EXACT = 2**53
#: Types written alike everywhere; tested for before each call, because most parts are of these.
_PLAIN = frozenset({str, bool, type(None)})


def canonical(value: object) -> bytes:
    """Return a value as canonical JSON.

    Parameters
    ----------
    value : object
        A model, such as a `Dossier`, or plain JSON values.

    Returns
    -------
    bytes
        UTF-8 by RFC 8785 [1]_: keys in order of their UTF-16 code units, no spaces, numbers as
        ECMAScript writes them.

    Raises
    ------
    ValueError
        A number has no JSON form (NaN, infinity, an integer beyond 2⁵³), or text is not Unicode.
    """
    plain: Any = value.model_dump(mode="json") if isinstance(value, BaseModel) else value
    try:
        return to_json(_as_written(plain))
    except (_OtherError, PydanticSerializationError):
        return rfc8785.dumps(plain)


class _OtherError(Exception):
    """Pydantic's JSON writer may write a value in another way than RFC 8785."""


def _as_written(value: Any) -> Any:
    """Return a value that pydantic's writer, many times as fast, writes as RFC 8785 asks.

    Raises
    ------
    _OtherError
        It may not: keys beyond ASCII, very large and very small numbers, what is no JSON.
    """
    kind = type(value)
    if kind is float and 1e-4 <= abs(value) < _EXACT and not value.is_integer():
        return value
    if kind is dict:
        if not _ascii(value):
            raise _OtherError
        return {
            key: one if type(one := value[key]) in _PLAIN else _as_written(one)
            for key in sorted(value)
        }
    if kind is list or kind is tuple:
        return [one if type(one) in _PLAIN else _as_written(one) for one in value]
    if kind in _PLAIN:
        return value
    if kind in (int, float) and -_EXACT < value < _EXACT and value == int(value):
        return int(value)
    raise _OtherError


def _ascii(keys: Iterable[Any]) -> bool:
    """Return whether all keys are texts of ASCII characters."""
    try:
        return "".join(keys).isascii()
    except TypeError:
        return False


def sha256(data: bytes) -> str:
    """Return the SHA-256 of bytes in lower-case hex [2]_."""
    return hashlib.sha256(data).hexdigest()


def read_json(data: bytes) -> Any:
    """Return the value of JSON that has a canonical form, as any RFC 8785 reader would.

    Raises
    ------
    ValueError
        It is not JSON, or contains something without a canonical form (NaN, a number too large,
        half a surrogate pair).
    """
    return _read(data)[0]


def _read(data: bytes) -> tuple[Any, bytes]:
    """Return the value of JSON, and the value's canonical form."""
    try:
        value = json.loads(data, parse_int=_number)
        return value, canonical(value)
    except RecursionError:
        raise ValueError("it is nested too deep") from None
    except OverflowError:
        raise ValueError("it holds a number beyond the doubles") from None


def json_object(path: Path) -> dict[str, Any] | None:
    """Return the object in a JSON file; None if the file is missing or holds something else."""
    try:
        value = read_json(read_file(path))
    except (OSError, ValueError):
        return None
    return value if isinstance(value, dict) else None


def _number(digits: str) -> int | float:
    """Return an integer, as a double if JSON readers need not preserve it exactly (RFC 7493)."""
    value = int(digits)
    return value if abs(value) < _EXACT else float(value)


def read_canonical(data: bytes) -> Any:
    """Return the value of canonical JSON.

    Raises
    ------
    ValueError
        It is not JSON, or not canonical, so that it may not be the form of the value that was
        signed.
    """
    value, form = _read(data)
    if form != data:
        raise ValueError("it is JSON but not in canonical form (RFC 8785)")
    return value
