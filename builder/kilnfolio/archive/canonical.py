"""Canonical JSON: exactly one way to write a record as bytes, so that its digest identifies it.

References
----------
.. [1] RFC 8785, JSON Canonicalization Scheme (JCS), 2020.
.. [2] FIPS 180-4, Secure Hash Standard, 2015.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import rfc8785
from pydantic import BaseModel

from kilnfolio.runtime.files import read_file


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
    return rfc8785.dumps(plain)


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
    return value if abs(value) < 2**53 else float(value)


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
