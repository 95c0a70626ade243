"""Each of twelve states of a lot can be told from the text of a phone's first screen alone."""

from __future__ import annotations

import datetime as dt
import hashlib
from itertools import product
from pathlib import Path

import pytest
from tests.rows import each_of
from tests.site.site import shared_mill
from tests.site_assets import copy_assets

from kilnfolio.archive.canonical import canonical
from kilnfolio.rendering.templating import environment
from kilnfolio.site.lot_words import lot_record
from kilnfolio.site.pages.customer import Served, customer_lot, render_lot
from kilnfolio.site.seals import SealLine, SealView

#: What a reader must be told in each case. The first is the mill's verdict, the second how the
#: page was opened: by its label, by an older one, by another one, or without a label.
VERDICTS = {True: "meets the order", False: "does not meet the order", None: "not assessed"}
LABELS = {
    "its own": "matches the label",
    "older": "amended after this label was printed",
    "another": "does not match its label",
    "none": "not checked against its label",
}
#: The first screen of a phone, in CSS pixels.
WIDTH, HEIGHT = 360, 640
#: Text whose first line is on the screen, as a reader sees it.
_SEEN = """height => [...document.querySelectorAll('main h1, main p, main .outcome')]
  .filter(part => part.checkVisibility() && part.getBoundingClientRect().top < height - 12)
  .map(part => part.innerText).join(' ').toLowerCase()"""


def _seal(text: str, digest: str = "") -> SealLine:
    digest = digest or hashlib.sha256(text.encode()).hexdigest()
    at = dt.datetime(2026, 6, 8, tzinfo=dt.UTC)
    return SealLine(1, digest[:32], digest, at, "A. Mill", "", "k")


@pytest.fixture(scope="module")
def lots(tmp_path_factory) -> dict[bool | None, tuple[Path, str]]:
    """The page of a sealed lot in each of the mill's verdicts, and the digits on its label."""
    mill = shared_mill()
    root = tmp_path_factory.mktemp("site")
    copy_assets(root, "customer")
    env = environment(mill.folder.mill.record, menu=())
    found = {}
    for met in VERDICTS:
        lot = mill.lots["L1"]
        sentence = "Not assessed: no final survey is on record."
        said = {"met": met} | ({"sentence": sentence} if met is None else {})
        judged = lot.judgement.model_copy(update=said)
        dossier = lot.model_copy(update={"judgement": judged})
        about = (mill.folder, "L1", mill.dossiers, dossier)
        text = canonical(lot_record(*about)).decode()
        seal = SealView((_seal("", "ab" * 32), _seal(text)))
        token = str(met).lower()
        view = customer_lot(*about, "t", Served(text, seal))
        page = render_lot(env, view, token)
        path = root / page.path
        path.parent.mkdir()
        path.write_text(page.html, "utf-8")
        found[met] = path, seal.lines[-1].digits
    return found


@each_of(list(product(VERDICTS, LABELS)))
def test_the_first_screen_shows_the_state_of_the_lot(row, page, lots):
    met, label = row
    path, digits = lots[met]
    fragment = {
        "its own": "#" + digits,
        "older": "#" + "ab" * 16,
        "another": "#" + "cd" * 16,
        "none": "",
    }[label]
    page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
    page.goto("about:blank")
    page.goto(path.as_uri() + fragment)
    seen = page.evaluate(_SEEN, HEIGHT)
    assert LABELS[label] in seen
    told = {verdict for verdict in VERDICTS.values() if verdict in seen}
    if label == "another":
        assert not told, "a page that is not the labelled record gives no verdict"
        assert "do not rely on this page" in seen
    else:
        assert told == {VERDICTS[met]}
        assert "what to do" in seen
        assert ("mean moisture content" in seen) == (met is not None)
