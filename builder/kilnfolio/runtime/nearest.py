"""The word that somebody may have meant."""

from __future__ import annotations

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from collections.abc import Iterable


def nearest(word: str, known: Iterable[str], *, cutoff: float = 0.6) -> list[str]:
    """Return the known word most like another one; empty if none is.

    Parameters
    ----------
    word : str
        The word as written.
    known : iterable of str
        The words that are possible.
    cutoff : float
        How alike they must at least be, 0 to 1 (`difflib.SequenceMatcher.ratio`).
    """
    import difflib  # only where something is misspelt

    return difflib.get_close_matches(word, list(known), n=1, cutoff=cutoff)
