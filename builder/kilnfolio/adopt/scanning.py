"""Pictures of entry codes, handed over on a page of `preview` instead of by ``take --scan``.

A phone that nothing else reaches shows its entries as codes. Pictures of them, taken with another
device, are chosen on this page. Each is looked at by itself, by the process that ``take`` uses as
well; the page keeps what the codes say, and hands all of it over together, as often as a picture is
added. So a code that is missing can be added later.
"""

from __future__ import annotations

import json
import threading
from importlib import resources
from pathlib import Path

from kilnfolio.adopt.entry.codes import entry_codes, files_in
from kilnfolio.adopt.entry.pictures import NoCodesError, codes_in
from kilnfolio.adopt.hand_over import receive
from kilnfolio.records.problems import Problem

#: Where the page is served.
PAGE = "_codes"
#: A picture may take a gigabyte while it is looked at, so one is looked at after the other.
_ONE_AT_A_TIME = threading.Lock()

_BODY = """
<p>A phone shows its entries as codes: <i>Show as codes</i> on its kiln-side page. Take a picture of each with
another device and choose the pictures here, in any order. Nothing is taken while a code is missing, and nothing twice.</p>
<p><label for="pictures">Pictures of codes</label>
<input id="pictures" type="file" accept="image/*" multiple></p>
<ul id="seen"></ul>
<p id="taken" role="status"></p>
<noscript><p>This page needs scripts. Without them, <code>kilnfolio take --scan FILE…</code> does the same.</p></noscript>
"""


def page_body() -> str:
    """Return what stands on the page, with its script."""
    script = (resources.files("kilnfolio.adopt") / "assets" / "scanning.js").read_text("utf-8")
    return f"{_BODY}<script>\n{script}</script>"


def look_at(raw: bytes) -> tuple[int, str]:
    """Look at a picture; return the HTTP status, and its entry codes as JSON or why it has none."""
    try:
        with _ONE_AT_A_TIME:
            said = entry_codes(codes_in(raw))
    except NoCodesError as error:
        return 422, f"no codes: {error}"
    if not said:
        return 422, "no code of a kiln-side page can be made out in it"
    return 200, json.dumps(said)


def receive_codes(root: Path, raw: bytes) -> tuple[int, str]:
    """Take the entry files that codes hold; return the HTTP status and what to say.

    Parameters
    ----------
    root : Path
        The mill folder.
    raw : bytes
        A JSON list of what the codes of all pictures say.
    """
    try:
        texts = json.loads(raw)
    except ValueError:
        texts = None
    if not isinstance(texts, list) or not all(isinstance(one, str) for one in texts):
        return 422, "Not taken: this is no list of codes."
    worst, words = 200, []
    for _, found in files_in(texts):
        if isinstance(found, Problem):
            status = 422
            said = f"Not taken yet: {found.what}, {found.why}. Choose that picture as well."
        else:
            status, said = receive(root, found)
        worst = max(worst, status)
        words.append(said)
    return worst, "\n".join(words) or "Nothing to take: no codes were given."
