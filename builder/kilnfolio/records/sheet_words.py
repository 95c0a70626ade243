"""Words of headings and labels in mills' own sheets, in several languages."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib import resources

from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Role:
    """A role that a column of a sheet can have.

    Attributes
    ----------
    key : str
        Its name in the program.
    name : str
        Its name in ``--column HEADING=NAME``.
    means : str
        Its name in messages, with an article.
    words : mapping of str to tuple of str
        Words of headings, by language.
    """

    key: str
    name: str
    means: str
    words: Mapping[str, tuple[str, ...]]

    def fits(self, heading: str) -> bool:
        """Return whether a heading, in plain lower case, names this role."""
        return any(
            _pattern(word).search(heading) for those in self.words.values() for word in those
        )


@cache
def roles() -> Mapping[str, Role]:
    """Return every role by key, in the order in which headings are tried."""
    raw = (resources.files("kilnfolio.records") / "sheet_words.yaml").read_bytes()
    return {
        key: Role(
            key,
            one["name"],
            one["means"],
            {language: tuple(map(str, words)) for language, words in one["words"].items()},
        )
        for key, one in parse_yaml(raw, "sheet_words.yaml").value.items()
    }


@cache
def _pattern(words: str) -> re.Pattern[str]:
    parts = [
        re.escape(word) if len(word) > 3 else rf"(?<![a-z]){re.escape(word)}(?![a-z])"
        for word in words.split()
    ]
    return re.compile(".*".join(parts))


#: Labels of rows of totals or means, without accents.
_TOTAL = re.compile(
    r"(?:grand )?(?:total|sum|average|avg|mean|median|max|min|maximum|minimum|std|st\. ?dev|"
    r"standard deviation|range|moyenne|somme|ecart[- ]type|mediane|mittel(?:wert)?|durchschnitt|"
    r"summe|gesamt|schnitt|standardabweichung|medel(?:varde|tal)?|summa|standardavvikelse|"
    r"gjennomsnitt|gennemsnit|snitt|middel|gemiddelde?|totaal|som|keskiarvo|yhteensa|keskihajonta|"
    r"media|promedio|suma|totale|somma|srednia|razem)\b[\s.:=a-z]*"
)
_MEAN_SIGN = re.compile(r"[Øø∅µ]|x̄")


def plain(text: str) -> str:
    """Return text in lower case without accents, like the words of headings."""
    folded = text.casefold().replace("ø", "o").replace("æ", "ae").replace("ł", "l")
    return "".join(
        letter
        for letter in unicodedata.normalize("NFD", folded)
        if not unicodedata.combining(letter)
    )


def role_of(heading: str, taken: set[str]) -> str | None:
    """Return the role that a heading names; None if it is already taken or unknown."""
    words = plain(heading)
    return next(
        (key for key, role in roles().items() if words and role.fits(words) and key not in taken),
        None,
    )


def is_total(text: str) -> bool:
    """Return whether a label marks a row of totals or means, as 'Average' or 'Medel'."""
    return bool(_MEAN_SIGN.fullmatch(text.strip()) or _TOTAL.fullmatch(plain(text.strip())))
