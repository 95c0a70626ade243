"""Addresses that cannot be guessed."""

import base64
import hashlib

import pytest

from kilnfolio.archive.tokens import lot_token

KEY = bytes(range(40, 72))


def by_definition(key: bytes, message: bytes) -> bytes:
    """HMAC as defined in RFC 2104, section 2, for a key shorter than the block of 64 bytes."""
    padded = key.ljust(64, b"\0")
    inner = hashlib.sha256(bytes(byte ^ 0x36 for byte in padded) + message).digest()
    return hashlib.sha256(bytes(byte ^ 0x5C for byte in padded) + inner).digest()


def test_token_is_the_hmac_of_the_lots_number():
    digest = by_definition(KEY, b"kilnfolio lot address 1\0" + b"HBL-26-001")
    assert base64.b32decode(lot_token("HBL-26-001", KEY).upper()) == digest[:20]


def test_token_is_long_and_fits_an_address():
    token = lot_token("HBL-26-001", KEY)
    assert len(token) * 5 >= 128
    assert set(token) <= set("abcdefghijklmnopqrstuvwxyz234567")


def test_tokens_of_neighbouring_lots_or_other_keys_have_nothing_in_common():
    tokens = {lot_token(f"L{n}", key) for n in range(200) for key in (KEY, KEY[::-1])}
    assert len({token[:8] for token in tokens}) == 400


@pytest.mark.parametrize("key", [b"", b"short", bytes(31)])
def test_a_weak_key_is_refused(key):
    with pytest.raises(ValueError, match="32 bytes"):
        lot_token("L1", key)


def test_a_lot_without_a_number_is_refused():
    with pytest.raises(ValueError, match="empty"):
        lot_token("", KEY)
