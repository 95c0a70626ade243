"""The blocks of a mill's own theme: small templates, rendered once for each edition.

A template may print facts about the mill and test the edition, the language and whether it is on
paper. It cannot call functions, loop or read records. Only listed HTML tags and attributes are
allowed and every tag must be closed, so a block cannot run a script, fetch anything, close the
element around it or imitate a part of the page that is ours.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from html.parser import HTMLParser
from typing import Any

from jinja2 import StrictUndefined, TemplateSyntaxError, nodes
from jinja2.sandbox import ImmutableSandboxedEnvironment

from kilnfolio.records.mill import Mill
from kilnfolio.records.problems import Place, Problem

#: Every block by name, with the place where it appears.
BLOCKS: Mapping[str, str] = {
    "masthead": "beside the mill's name, on every page and on the record of a lot",
    "closing": "after the text and before the safety wording, on every page and on the record of a lot",
    "cover": "on the title page of the handbook and of every booklet",
}
EDITIONS = ("mill", "customer", "auditor")

_ATTRIBUTES = {
    "a": {"href"},
    "img": {"src", "alt", "width", "height"},
    **{
        tag: set[str]()
        for tag in (
            *("p", "b", "strong", "i", "em", "small", "span", "div", "br", "abbr", "address"),
            *("ul", "ol", "li", "dl", "dt", "dd"),
        )
    },
}
_ANYWHERE = {"class", "lang", "title"}
_EMPTY = {"br", "img"}
_LINK = re.compile(r"(https://[^\s\"'<>]+|mailto:[^\s\"'<>]+|tel:[+\d ()-]+)")
_CLASS = re.compile(r"own-[a-z0-9-]+")
#: Words that promise more than a record can show; no edition uses them either.
_PROMISES = re.compile(
    r"\b(guarante\w+|warrant\w+|garanti\w*|certified|certifié\w*|zertifiziert\w*)\b", re.I
)
#: Syntax nodes that a template may contain.
_NODES = (
    nodes.Template,
    nodes.Output,
    nodes.TemplateData,
    nodes.Name,
    nodes.Getattr,
    nodes.Const,
    nodes.If,
    nodes.Compare,
    nodes.Operand,
    nodes.And,
    nodes.Or,
    nodes.Not,
)


def facts(mill: Mill, edition: str, tag: str, *, paper: bool) -> dict[str, Any]:
    """Return the variables of a template."""
    return {
        "mill": {
            "name": mill.name,
            "place": mill.place,
            "country": mill.country,
            "email": mill.contact.email,
            "phone": mill.contact.phone or "",
        },
        "edition": edition,
        "language": tag,
        "paper": paper,
    }


def block_html(
    text: str,
    file: str,
    given: Mapping[str, Any],
    picture: Callable[[str], str | None],
) -> tuple[str, list[Problem]]:
    """Return a rendered block and its problems.

    Parameters
    ----------
    text : str
        The template.
    file : str
        Its path from the root of the mill folder.
    given : mapping
        The template's variables, from `facts`.
    picture : callable
        Takes the name of a picture; returns its address, or None if there is no such picture.
    """
    env = ImmutableSandboxedEnvironment(autoescape=True, undefined=StrictUndefined)
    try:
        tree = env.parse(text)
    except TemplateSyntaxError as error:
        return "", [Problem(Place(file, error.lineno), "this cannot be read", error.message or "")]
    if strange := [node for node in tree.find_all(nodes.Node) if not isinstance(node, _NODES)]:
        return "", [
            Problem(
                Place(file, strange[0].lineno),
                f"a template of a theme may not hold {type(strange[0]).__name__.lower()}",
                "it prints facts of the mill, and asks with if",
                "Write as in {{ mill.name }} or {% if edition == 'customer' %} … {% endif %}",
            )
        ]
    try:
        filled = env.from_string(text).render(given)
    except Exception as error:  # of a template somebody wrote
        known = ", ".join(
            ["mill." + key for key in given["mill"]] + ["edition", "language", "paper"]
        )
        return "", [
            Problem(Place(file), str(error), "a template prints what there is", f"There is {known}")
        ]
    reader = _Reader(file, picture)
    reader.feed(filled)
    reader.close()
    problems = [*reader.problems, *reader.left_open(), *_promised(filled, file)]
    return "".join(reader.made).strip(), problems


def _promised(filled: str, file: str) -> Iterator[Problem]:
    if found := _PROMISES.search(filled):
        yield Problem(
            Place(file),
            f"'{found[0]}'",
            "a page of records makes no promise beyond the record, and prints no certificate",
            "Say it where the mill answers for it, such as on its own site",
        )


class _Reader(HTMLParser):
    """Copies allowed HTML and collects problems for the rest."""

    def __init__(self, file: str, picture: Callable[[str], str | None]):
        super().__init__(convert_charrefs=False)
        self._file, self._picture = file, picture
        self._open: list[tuple[str, Place]] = []
        self.made: list[str] = []
        self.problems: list[Problem] = []

    def _place(self) -> Place:
        line, column = self.getpos()
        return Place(self._file, line, column + 1)

    def _refuse(self, what: str, why: str, instead: str = "") -> None:
        self.problems.append(Problem(self._place(), what, why, instead))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Copy a tag."""
        if tag not in _ATTRIBUTES:
            self._refuse(
                f"<{tag}>", "a block may not hold it", f"Use {', '.join(sorted(_ATTRIBUTES))}"
            )
            return
        words = [tag]
        for name, value in attrs:
            if (said := self._attribute(tag, name, value or "")) is not None:
                words.append(f'{name}="{said}"')
        if tag == "img" and "alt" not in dict(attrs):
            self._refuse("<img> without alt", "who cannot see it hears nothing", 'Write alt="…"')
        if tag not in _EMPTY:
            self._open.append((tag, self._place()))
        self.made.append(f"<{' '.join(words)}>")

    def _attribute(self, tag: str, name: str, value: str) -> str | None:
        if name not in _ATTRIBUTES[tag] | _ANYWHERE:
            self._refuse(f"{name}= in <{tag}>", "a block may not hold it")
        elif name == "class" and not all(map(_CLASS.fullmatch, value.split())):
            self._refuse(
                f'class="{value}"',
                "classes without 'own-' before them are the program's",
                'Write class="own-…"',
            )
        elif name == "href" and not _LINK.fullmatch(value):
            self._refuse(f'href="{value}"', "a link leads to https://, mailto: or tel:")
        elif name == "src":
            if found := self._picture(value):
                return found
            self._refuse(
                f'src="{value}"',
                "there is no such picture in content/theme/, and nothing is fetched from elsewhere",
                "Put a .svg or .png there and name it without a folder",
            )
        else:
            return value.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
        return None

    def handle_endtag(self, tag: str) -> None:
        """Copy the closing tag of the element that is open."""
        if tag in _EMPTY:
            return
        if not self._open or self._open[-1][0] != tag:
            self._refuse(f"</{tag}>", "it closes nothing that this block opened last")
            return
        self._open.pop()
        self.made.append(f"</{tag}>")

    def left_open(self) -> Iterator[Problem]:
        """Yield a problem for each tag that was never closed."""
        for tag, place in self._open:
            yield Problem(place, f"<{tag}>", "it is never closed", f"Write </{tag}>")

    def handle_data(self, data: str) -> None:
        """Copy text."""
        if "<" in data:  # the start of a tag or comment that never ends
            self._refuse(f"'{data[data.index('<') :][:20]}'", "it begins a tag and never ends it")
        self.made.append(data.replace("<", "&lt;").replace(">", "&gt;"))

    def handle_entityref(self, name: str) -> None:
        """Copy a named reference such as ``&amp;``."""
        self.made.append(f"&{name};")

    def handle_charref(self, name: str) -> None:
        """Copy a numeric reference such as ``&#8217;``."""
        self.made.append(f"&#{name};")

    def handle_comment(self, data: str) -> None:
        """Drop a comment."""

    def handle_decl(self, decl: str) -> None:
        """Refuse a declaration."""
        self._refuse(f"<!{decl[:20]}>", "a block may not hold it")

    def unknown_decl(self, data: str) -> None:
        """Refuse an unknown declaration."""
        self._refuse(f"<![{data[:20]}", "a block may not hold it")

    def handle_pi(self, data: str) -> None:
        """Refuse a processing instruction."""
        self._refuse(f"<?{data[:20]}", "a block may not hold it")
