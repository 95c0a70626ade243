"""Values from publications, with their source and how far they may be trusted."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Generic, Literal, Protocol, TypeVar

from pydantic import AfterValidator, WithJsonSchema

from kilnfolio.records.model import Name, Record, Signature, Slug, Text, record_error
from kilnfolio.records.quantities import Quantity

#: How a value is known: read on the page; recalled from memory; common in the trade; set by the
#: mill.
Status = Literal["read", "memory", "common practice", "mill"]

#: The id of a publication within text.
_ID = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)+")

STATUS_MEANING: dict[str, str] = {
    "read": "the publication's page was read",
    "memory": "recalled from the publication, not checked against its page",
    "common practice": "what the trade commonly does; no source",
    "mill": "set by this mill",
}


def _citation(text: str) -> str:
    publication = text.split(",", 1)[0].strip()
    if publication != "common practice" and not publication.replace("-", "").isalnum():
        raise record_error(
            text,
            "it must begin with the id of a publication in sources.yaml",
            "Write it as in 'wood-handbook, Table 4-2', or 'common practice'",
        )
    return text


#: A publication's id in ``schedules/sources.yaml``, then the place: ``wood-handbook, Table 4-2``.
Citation = Annotated[
    str,
    AfterValidator(_citation),
    WithJsonSchema({"type": "string", "examples": ["wood-handbook, Table 4-2"]}),
]


def publication_of(citation: str) -> str:
    """Return the id of the publication in a citation."""
    return citation.split(",", 1)[0].strip()


class Titled(Protocol):
    """What citing needs of a publication."""

    @property
    def short(self) -> str:
        """Its short title."""


def in_words(source: str, publications: Mapping[str, Titled]) -> str:
    """Return a formula's source with short titles in place of the ids of publications."""
    return _ID.sub(
        lambda found: publications[found[0]].short if found[0] in publications else found[0], source
    )


class Known(Record):
    """A group of values that share their source."""

    source: Citation
    """The publication's id and the table or page, as in 'wood-handbook, Table 4-2'."""
    status: Status
    """How it is known: read, memory, common practice or mill."""
    signed_off: Signature | None = None
    """Who at the mill has confirmed a value that was recalled."""


Q = TypeVar("Q", bound=Quantity)


class Sourced(Known, Generic[Q]):
    """One quantity with its source."""

    value: Q
    """The value with its unit."""


class Publication(Record):
    """A book, standard, article or rule that values are taken from."""

    title: Text
    """The full title of the publication."""
    author: Name | None = None
    """Author, or the body that issued it."""
    year: int | None = None
    """Year of the edition used."""
    short: Name
    """The short form printed in the text, as in 'Wood Handbook 2021'."""
    edition: Text | None = None
    """Number, edition or report series."""
    note: Text | None = None
    """What a reader should know about it, such as that it was recalled, not opened."""


class Sources(Record):
    """``schedules/sources.yaml``: the publications, each once."""

    format: Literal[1]
    """The record format."""
    publications: dict[Slug, Publication]
    """Each publication by its id."""
