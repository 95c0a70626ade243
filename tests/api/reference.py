"""The guide's page on `kilnfolio.api`, made from its docstrings: ``python -m tests.api.reference``."""

import inspect
import re
from collections.abc import Iterator

from tests.conftest import PROJECT

from kilnfolio import api

PAGE = PROJECT / "builder/kilnfolio/guide/22-from-python.md"
#: A sentence and its code; the test runs them in order.
EXAMPLES = (
    (
        "Open a mill and see what it contains. Nothing is read until you ask for it.",
        'mill = api.open_mill(folder)\ncharge = mill.charges[0]\nprint(charge, "in", mill.kilns[0])',
    ),
    (
        "A table is a pandas data frame; its `attrs` hold the units and meanings of the columns.",
        'weighings = mill.table("weighings")\n'
        'print(weighings.attrs["units"]["mc_pct"], weighings.attrs["meanings"]["mc_pct"])\n'
        'last = weighings.sort_values("at").groupby("board").tail(1)\n'
        'print(last[["board", "mc_pct"]])',
    ),
    (
        "A review holds every recomputed figure and the findings.",
        "for finding in mill.review(charge).findings:\n"
        '    if finding.outcome in ("question", "fail"):\n'
        "        print(finding.check, finding.message)",
    ),
)


def page() -> str:
    """Return the page."""
    parts = [
        "---",
        "title: From Python",
        "summary: Read a mill's tables, reviews and forecasts in a notebook or another program.",
        "kind: reference",
        "---",
        "",
        "`kilnfolio.api` is the stable interface for other programs: its names change only with a",
        "version that may break something ([Versions](16-look-it-up.md#versions)). Everything else",
        "in the package may change with any version.",
        "",
        "```python",
        "from kilnfolio import api",
        "",
        'folder = "our-mill"',
        "```",
    ]
    for words, code in EXAMPLES:
        parts += ["", words, "", "```python", code, "```"]
    for name in api.__all__:
        parts += ["", *_described(name, getattr(api, name))]
    return "\n".join(parts) + "\n"


def _described(name: str, thing: object) -> Iterator[str]:
    if inspect.isclass(thing):
        yield from (f"## {name}", "", *_told(thing))
        for member, value in vars(thing).items():
            if member.startswith("_"):
                continue
            if isinstance(value, property):
                yield from ("", f"### {name}.{member}", "", *_told(value))
            elif inspect.isfunction(value):
                yield from ("", f"### {name}.{member}{_signature(value)}", "", *_told(value))
    elif inspect.isfunction(thing):
        yield from (f"## {name}{_signature(thing)}", "", *_told(thing))
    else:
        yield from (f"## {name}", "", "All tables, by name:", "")
        for table in api.TABLES.values():
            yield f"- `{table.name}`: {table.meaning}"


def _signature(function: object) -> str:
    found = inspect.signature(function)
    kept = [one for one in found.parameters.values() if one.name != "self"]
    return "(" + ", ".join(str(one).replace("'", "") for one in kept) + ")"


def _told(thing: object) -> Iterator[str]:
    """Yield a numpydoc docstring as Markdown."""
    text, *rest = re.split(r"(\w+)\n-{3,}\n", inspect.getdoc(thing).replace("``", "`"))
    yield text.strip()
    for section, items in zip(rest[::2], rest[1::2], strict=True):
        yield from ("", f"{section}:", "")
        for item in re.split(r"\n(?=\S)", items.strip()):
            head, _, meaning = item.partition("\n")
            name, _, kind = head.partition(" : ")
            said = " ".join(meaning.split())
            yield f"- `{name}`{f', {kind}' if kind else ''}{f': {said}' if said else ''}"


if __name__ == "__main__":
    PAGE.write_text(re.sub(r"\n{3,}", "\n\n", page()), "utf-8")
