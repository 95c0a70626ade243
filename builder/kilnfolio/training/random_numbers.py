"""Random numbers that Python and the pages' scripts draw alike."""

from __future__ import annotations


class RandomNumbers:
    """Random numbers that are the same in every language, by 32-bit integer arithmetic only."""

    def __init__(self, seed: int):
        self._state = seed & 0xFFFFFFFF

    def share(self) -> float:
        """Return a uniform random number, at least 0 and below 1."""
        self._state = (self._state + 0x6D2B79F5) & 0xFFFFFFFF
        t = self._state
        t = ((t ^ (t >> 15)) * (t | 1)) & 0xFFFFFFFF
        t ^= (t + (((t ^ (t >> 7)) * (t | 61)) & 0xFFFFFFFF)) & 0xFFFFFFFF
        return ((t ^ (t >> 14)) & 0xFFFFFFFF) / 4294967296.0

    def normal(self) -> float:
        """Return a roughly normal number of mean 0 and standard deviation 1: a sum of twelve."""
        return sum(self.share() for _ in range(12)) - 6.0

    def below(self, count: int) -> int:
        """Return one of 0, 1, …, count − 1."""
        return int(self.share() * count)


def seed_of(words: str) -> int:
    """Return the 32-bit FNV-1a hash of ASCII words, as a seed.

    References
    ----------
    .. [1] Fowler, Noll and Vo's FNV-1a hash (offset basis and prime from memory).
    """
    found = 0x811C9DC5
    for byte in words.encode("ascii"):
        found = ((found ^ byte) * 0x01000193) & 0xFFFFFFFF
    return found
