"""The page and data at the address of a lot that the mill has withdrawn."""

from __future__ import annotations

from jinja2 import Environment

from kilnfolio.rendering.page import Page
from kilnfolio.rendering.templating import render

TITLE = "This address is no longer in use"
#: Replaces the record and the events as data, which somebody may have fetched from here before.
DATA = '{"withdrawn": "the mill has withdrawn this address; ask it for a new label"}\n'


def render_withdrawn(env: Environment, token: str, *, paper: bool = False) -> Page:
    """Return the page at a withdrawn address; it is the same for every lot, so it reveals none.

    Parameters
    ----------
    env : Environment
        Environment of the customer edition.
    token : str
        The folder of the page.
    paper : bool
        True for the printed page, which loads no files.
    """
    path = f"{token}/index.html"
    html = render(env, "withdrawn.html", path, title=TITLE, paper=paper)
    return Page(path, html, TITLE, "withdrawn address", "")
