"""One way to write a record as bytes, so that its digest means something.

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


def canonical(value: object) -> bytes:
    """Return a value as canonical JSON.

    Parameters
    ----------
    value : object
        A model, as a `Dossier`, or plain JSON values.

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
    """Return the value of JSON that has a canonical form, as any RFC 8785 reader takes it.

    Raises
    ------
    ValueError
        It is not JSON, or holds what has no canonical form (NaN, a number too large, half a
        character).
    """
    try:
        value = json.loads(data, parse_int=_number)
        canonical(value)
    except RecursionError:
        raise ValueError("it is nested too deep") from None
    except OverflowError:
        raise ValueError("it holds a number beyond the doubles") from None
    return value


def json_object(path: Path) -> dict[str, Any] | None:
    """Return the object a JSON file holds; None where it is missing or holds none."""
    try:
        value = read_json(path.read_bytes())
    except (OSError, ValueError):
        return None
    return value if isinstance(value, dict) else None


def _number(digits: str) -> int | float:
    """Return an integer, as a double where a reader of JSON need not keep it whole (RFC 7493)."""
    value = int(digits)
    return value if abs(value) < 2**53 else float(value)


def read_canonical(data: bytes) -> Any:
    """Return the value of canonical JSON.

    Raises
    ------
    ValueError
        It is not JSON, or not canonical: the same value may then be written in several ways, and
        only one of them is the one that was signed.
    """
    value = read_json(data)
    if canonical(value) != data:
        raise ValueError("it is JSON but not in canonical form (RFC 8785)")
    return value
