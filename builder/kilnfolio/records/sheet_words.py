"""What the headings and labels of a mill's own sheets say, in the languages mills keep them in."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

from kilnfolio.records.yaml_source import parse_yaml


@dataclass(frozen=True)
class Role:
    """What a column of a sheet can hold.

    Attributes
    ----------
    key : str
        As the program calls it.
    name : str
        As ``--column HEADING=NAME`` calls it.
    means : str
        As messages call it, with its article.
    words : mapping of str to tuple of str
        What headings say, by language.
    """

    key: str
    name: str
    means: str
    words: Mapping[str, tuple[str, ...]]

    def fits(self, heading: str) -> bool:
        """Return whether a heading, in plain small letters, names this role."""
        return any(
            _pattern(word).search(heading) for those in self.words.values() for word in those
        )


@cache
def roles() -> Mapping[str, Role]:
    """Return every role by its key, in the order in which headings are tried."""
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


#: Labels of rows that sum up the rows above them, accents left out.
_TOTAL = re.compile(
    r"(?:grand )?(?:total|sum|average|avg|mean|median|max|min|maximum|minimum|std|st\. ?dev|"
    r"standard deviation|range|moyenne|somme|ecart[- ]type|mediane|mittel(?:wert)?|durchschnitt|"
    r"summe|gesamt|schnitt|standardabweichung|medel(?:varde|tal)?|summa|standardavvikelse|"
    r"gjennomsnitt|gennemsnit|snitt|middel|gemiddelde?|totaal|som|keskiarvo|yhteensa|keskihajonta|"
    r"media|promedio|suma|totale|somma|srednia|razem)\b[\s.:=a-z]*"
)
_MEAN_SIGN = re.compile(r"[Øø∅µ]|x̄")


def plain(text: str) -> str:
    """Return text in small letters without accents, as the words of headings are written."""
    folded = text.casefold().replace("ø", "o").replace("æ", "ae").replace("ł", "l")
    return "".join(
        letter
        for letter in unicodedata.normalize("NFD", folded)
        if not unicodedata.combining(letter)
    )


def role_of(heading: str, taken: set[str]) -> str | None:
    """Return the role a heading names; None for one already taken, or for other words."""
    words = plain(heading)
    return next(
        (key for key, role in roles().items() if words and role.fits(words) and key not in taken),
        None,
    )


def is_total(text: str) -> bool:
    """Return whether a label says that its row sums up others, as 'Average' or 'Medel'."""
    return bool(_MEAN_SIGN.fullmatch(text.strip()) or _TOTAL.fullmatch(plain(text.strip())))
