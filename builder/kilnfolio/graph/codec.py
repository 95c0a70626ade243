"""How values become bytes in the store, and what tells one from another."""

from __future__ import annotations

import hashlib
import pickle
import zlib
from typing import Any


def encode(value: Any) -> bytes:
    """Return a value as the store keeps it."""
    return zlib.compress(pickle.dumps(value, pickle.HIGHEST_PROTOCOL), 1)


def decode(data: bytes) -> Any:
    """Return a value from its bytes."""
    return pickle.loads(zlib.decompress(data))


def digest_of(value: Any) -> bytes:
    """Return a digest that is the same for equal values in every process."""
    text = value.model_dump_json() if hasattr(value, "model_dump_json") else repr(value)
    return hashlib.sha256(text.encode()).digest()
