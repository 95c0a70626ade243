"""``preview``: pages made again as records are saved, for one computer and nobody else's.

A page is made when it is asked for. What a saved file does not touch is kept: the review of every
other charge, and the handbook unless its text, the library or the mill changed.
"""

from __future__ import annotations

import html
import mimetypes
import posixpath
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from pathlib import Path
from typing import ClassVar
from urllib.parse import unquote, urlsplit

from kilnfolio.pipeline import Report, Reviewed, current, lot_tokens
from kilnfolio.publish.page import Page
from kilnfolio.publish.pages import MILL, SCRIPTS, pages_of
from kilnfolio.publish.pages.holdings import Holdings
from kilnfolio.publish.safety import SAFETY
from kilnfolio.publish.static import style_sheet
from kilnfolio.records.folder import Kept, read_mill_folder
from kilnfolio.records.moment import build_date
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.review.dossier import Dossier

#: Seconds between looks at the files, and the longest a page waits for news.
POLL, WAIT = 0.15, 20.0
#: Names a browser on this computer may call it by; any other is a page elsewhere reaching in.
_HOSTS = ("127.0.0.1", "localhost")
#: Asks whether something was saved, and loads the page again. Only the preview's pages hold it.
_RELOAD = """<script>
(async () => {
  for (;;) {
    try {
      const answer = await fetch("/_news?since=%d");
      if (answer.status === 200) { location.reload(); return; }
    } catch { await new Promise((done) => setTimeout(done, 1000)); }
  }
})();
</script>"""

#: The folder of the edition that pages of a noun stand in; the other pages need all of them.
_FOLDERS = {"species": "species", "schedule": "schedules", "kiln": "kilns", "charge": "charges",
            "running": "charges", "lot": "lots", "check": "checks", "guide": "guide"}

Stamps = dict[str, tuple[int, int]]


def stamps(root: Path) -> Stamps:
    """Return when each file of a mill folder was last saved, and its size."""
    found = {}
    for tree in ("content", "schedules"):
        for path in sorted((root / tree).rglob("*")):
            try:
                state = path.stat()
            except OSError:
                continue  # removed between listing and looking
            if path.is_file():
                found[path.relative_to(root).as_posix()] = (state.st_mtime_ns, state.st_size)
    return found


@dataclass
class Preview:
    """The pages of a mill folder as it stands."""

    root: Path
    version: int = 0
    problems: tuple[Problem, ...] = ()
    seconds: float = 0.0
    _stamps: Stamps = field(default_factory=dict)
    _reviewed: Reviewed | None = None
    _dossiers: dict[str, tuple[object, Dossier]] = field(default_factory=dict)
    _handbook: tuple[object, list[Page]] | None = None
    _pages: dict[str, str] = field(default_factory=dict)
    _read: Kept = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def refresh(self) -> bool:
        """Look at the files; read and review again what was saved. Return whether anything was."""
        now = stamps(self.root)
        with self._lock:
            if self.version and now == self._stamps:
                return False
            began = time.perf_counter()
            self._stamps, self._pages = now, {}
            try:
                self._reviewed, self.problems = self._review(), ()
            except RecordProblems as error:
                self.problems = error.problems
            self.seconds = time.perf_counter() - began
            self.version += 1
            return True

    def page(self, path: str) -> str | None:
        """Return a page of the mill edition, with the script that loads it again."""
        with self._lock:
            if self.problems:
                return self._with_reload(_problems_page(self.root, self.problems))
            if path not in self._pages:
                try:
                    self._pages.update(self._make(path))
                except RecordProblems as error:
                    return self._with_reload(_problems_page(self.root, error.problems))
            text = self._pages.get(path)
            return self._with_reload(text) if text and path.endswith(".html") else text

    def _with_reload(self, text: str) -> str:
        script = _RELOAD % self.version
        head, body, tail = text.rpartition("</body>")
        return f"{head}{script}{body}{tail}" if body else text + script

    def _review(self) -> Reviewed:
        from kilnfolio.review.review import review_charge, review_lot
        from kilnfolio.review.running import review_open_charges

        folder = read_mill_folder(self.root, self._read)
        shared = self._part(lambda name: not name.startswith(
            ("content/charges/", "content/lots/", "content/handbook/")))
        problems: list[Problem] = []
        dossiers: dict[str, Dossier] = {}
        for charge, located in folder.charges.items():
            home = posixpath.dirname(located.file) + "/"
            key = (shared, self._part(_below(home)))
            kept = self._dossiers.get(charge)
            try:
                dossiers[charge] = kept[1] if kept and kept[0] == key \
                    else review_charge(folder, charge)
                self._dossiers[charge] = (key, dossiers[charge])
            except RecordProblems as error:
                problems += error.problems
        running = review_open_charges(folder, folder.open_charges, problems)
        if problems:
            raise RecordProblems(problems)
        lots = {name: review_lot(folder, name, dossiers) for name in folder.lots}
        return Reviewed(folder, dossiers, lots, running)

    def _part(self, wanted: Callable[[str], bool]) -> tuple[tuple[str, tuple[int, int]], ...]:
        return tuple((name, stamp) for name, stamp in self._stamps.items() if wanted(name))

    def _make(self, path: str) -> dict[str, str]:
        """Return the page asked for; with it, whatever was made on the way to it."""
        from kilnfolio.publish.handbook.chapter import read_manuscript
        from kilnfolio.publish.pages import render_pages
        from kilnfolio.publish.search import INDEX_PATH, search_index, synonyms_of
        from kilnfolio.publish.series import series_files
        from kilnfolio.publish.templating import environment
        from kilnfolio.sealing import sealed_state

        reviewed = self._reviewed
        assert reviewed is not None
        folder = reviewed.folder
        env = environment(folder.mill.record)
        if path.startswith("handbook/") or path == "calculators.html":
            return {page.path: page.html for page in self._handbook_pages()}
        if path.startswith("series/"):
            return dict(series_files(reviewed.dossiers.values()))
        tokens = current(lot_tokens(folder, Report()))
        sealed = sealed_state(folder, reviewed.dossiers, reviewed.lots, tokens)
        if nouns := {name: noun for name, noun in {**MILL, **SCRIPTS}.items()
                     if _FOLDERS.get(name.split("-")[0]) == path.split("/")[0]}:
            holdings = Holdings(folder, reviewed.dossiers, reviewed.lots, env, tokens,
                                build_date(folder).date(), sealed.pages(folder),
                                running=reviewed.running)
            return {page.path: page.html for page in _until(path, pages_of(nouns, holdings))}
        handbook = self._handbook_pages() if path in (INDEX_PATH, "search.html") else []
        manuscript = read_manuscript(folder.root)[0]
        pages = render_pages(
            folder, reviewed.dossiers, reviewed.lots, env, tokens, build_date(folder).date(),
            manuscript=manuscript, handbook=handbook, seals=sealed.pages(folder),
            running=reviewed.running)
        if path == INDEX_PATH:
            return {INDEX_PATH: search_index([*handbook, *pages], synonyms_of(folder, manuscript))}
        return {page.path: page.html for page in _until(path, pages)}

    def _handbook_pages(self) -> list[Page]:
        from kilnfolio.publish.calculators import render_calculators
        from kilnfolio.publish.handbook.pages import render_handbook
        from kilnfolio.publish.templating import environment

        assert self._reviewed is not None
        folder = self._reviewed.folder
        key = self._part(lambda name: not name.startswith(("content/charges/", "content/lots/")))
        if self._handbook is None or self._handbook[0] != key:
            env = environment(folder.mill.record)
            self._handbook = (key, [*render_handbook(folder, env),
                                    render_calculators(folder, env)])
        return self._handbook[1]


def _below(home: str) -> Callable[[str], bool]:
    return lambda name: name.startswith(home)


def _until(path: str, pages: Iterable[Page]) -> Iterator[Page]:
    """Yield pages up to the one asked for."""
    for page in pages:
        yield page
        if page.path == path:
            return


def _problems_page(root: Path, problems: Iterable[Problem]) -> str:
    """Return the page that says what cannot be read, with the lines themselves."""
    items = []
    for problem in problems:
        place = problem.place
        try:
            line = (root / place.file).read_text("utf-8", "replace").splitlines()[place.line - 1]
        except (OSError, IndexError):
            line = ""
        said = str(problem).removeprefix(f"{place}: ")
        items.append(f"<li><p><code>{html.escape(str(place))}</code></p>"
                     f"<p>{html.escape(said)}</p>"
                     + (f"<pre>{html.escape(line)}</pre>" if line else "") + "</li>")
    return ('<!doctype html><html lang="en"><head><meta charset="utf-8"><title>To mend</title>'
            '<link rel="stylesheet" href="/assets/site.css"></head><body><main><h1>To mend before '
            f"the pages can be made</h1><ol>{''.join(items)}</ol>"
            f"<p>{html.escape(SAFETY)}</p></main></body></html>")


class _Handler(BaseHTTPRequestHandler):
    """Answers one request of a browser on this computer."""

    preview: ClassVar[Preview]
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        host = (self.headers.get("Host") or "").rsplit(":", 1)[0]
        if host not in _HOSTS:
            return self._answer(403, "text/plain", b"only for this computer\n")
        address = urlsplit(self.path)
        path = unquote(address.path).lstrip("/")
        if path == "_news":
            return self._news(address.query)
        if path == "" or path.endswith("/"):
            path += "index.html"
        if path.startswith("assets/"):
            return self._asset(path)
        text = self.preview.page(path)
        if text is None:
            return self._answer(404, "text/plain", b"there is no such page\n")
        kind = mimetypes.guess_type(path)[0] or "text/plain"
        return self._answer(200, f"{kind}; charset=utf-8", text.encode())

    def _news(self, query: str) -> None:
        """Answer as soon as something newer than the page was made, or nothing after a while."""
        since = query.removeprefix("since=")
        until = time.monotonic() + WAIT
        while str(self.preview.version) == since and time.monotonic() < until:
            time.sleep(POLL)
        newer = str(self.preview.version) != since
        return self._answer(200 if newer else 204, "text/plain", b"saved\n" if newer else b"")

    def _asset(self, path: str) -> None:
        home = Path(str(resources.files("kilnfolio.publish") / "assets")).resolve()
        if path == "assets/site.css":
            return self._answer(200, "text/css", style_sheet("mill").encode())
        file = (home / path.removeprefix("assets/")).resolve()
        if not file.is_relative_to(home) or not file.is_file():
            return self._answer(404, "text/plain", b"there is no such file\n")
        kind = mimetypes.guess_type(file.name)[0] or "application/octet-stream"
        return self._answer(200, kind, file.read_bytes())

    def _answer(self, status: int, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("Referrer-Policy", "no-referrer")
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing of each request."""


def make_server(preview: Preview, port: int) -> ThreadingHTTPServer:
    """Return a server of the pages, reached from this computer only; port 0 takes a free one."""
    handler = type("Handler", (_Handler,), {"preview": preview})
    server = ThreadingHTTPServer(("127.0.0.1", port), handler)
    server.daemon_threads = True
    return server


def serve(root: Path, port: int, say: Callable[[str], None]) -> int:
    """Serve the pages of a mill folder until stopped; return the exit code."""
    preview = Preview(root)
    preview.refresh()
    server = make_server(preview, port)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    say(f"http://127.0.0.1:{server.server_port}/  (Ctrl-C ends it)")
    try:
        while True:
            for problem in preview.problems:
                say(str(problem))
            say(f"read in {preview.seconds:.1f} s; "
                + ("to mend, as the page says" if preview.problems else "the pages are up to date"))
            while not preview.refresh():
                time.sleep(POLL)
    except KeyboardInterrupt:
        return 0
    finally:
        server.shutdown()
        server.server_close()
