"""``preview``: serve the pages to this computer alone, and rebuild them as records are saved.

It is the incremental build of the mill edition into a separate folder, in one process that keeps
its caches. The pages of a saved record and those that browsers show are made first, and slow tasks
that affect few pages last. A page that somebody asks for before the first build is done is made for
them alone (`early_pages`).
"""

from __future__ import annotations

import hashlib
import html
import mimetypes
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from pathlib import Path, PurePosixPath
from typing import ClassVar
from urllib.parse import parse_qs, unquote, urlsplit

from kilnfolio.adopt import scanning
from kilnfolio.adopt.early_pages import EarlyPages
from kilnfolio.adopt.entry.entries import MAX_BYTES
from kilnfolio.adopt.entry.pictures import MAX_BYTES as MAX_PICTURE
from kilnfolio.adopt.hand_over import LENGTH, Lan, make_lan, own_address, receive, with_mark
from kilnfolio.adopt.local_only import HEADERS, why_refused
from kilnfolio.graph.inputs import stamps
from kilnfolio.graph.states import Stamps
from kilnfolio.pipeline.build import First, Rebuild, open_site
from kilnfolio.records.kinds import INDEX
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.runtime.files import read_file, read_text
from kilnfolio.runtime.values import dataclass

#: Seconds between checks of the files, and the longest a page waits for a change.
POLL, WAIT = 0.15, 20.0
#: Where the pages are kept for the next preview; a build writes elsewhere.
HOME = Path("site/.preview")
#: Tasks that depend on many records, postponed until the pages of the saved record are made.
_WAIT = frozenset({("part", "drills"), ("search", "")})


class Preview:
    """The pages of a mill folder in its present state.

    Parameters
    ----------
    root : Path
        The mill folder.
    rebuild : callable
        Brings the site up to date; see `pipeline.open_site`.
    """

    def __init__(self, root: Path, rebuild: Rebuild):
        self.root = root
        self.problems: tuple[Problem, ...] = ()
        self.seconds = 0.0
        """What the last bringing up to date took."""
        self._bring = rebuild
        self._pages = (root / HOME / "mill").resolve()
        self._early: EarlyPages | None = EarlyPages(root, root / HOME)  # until the first build ends
        self._stamps: Stamps = {}
        self._broken: list[str] = []
        self._behind = True  # files were saved since all pages were made
        self._unfinished = False
        self._news = threading.Condition()
        self._looked_at: Counter[str] = Counter()

    def refresh(self) -> bool:
        """Rebuild what depends on files saved since the last call; return whether any were."""
        began = time.perf_counter()
        self.show_saved()
        if not self._behind:
            return False
        self._make(_WAIT)
        self.seconds = time.perf_counter() - began
        return True

    def show_saved(self) -> None:
        """Rebuild the pages of saved records, and those that browsers show, before all else.

        What they need of other records is taken as it was.
        """
        before, self._stamps = self._stamps, stamps(self.root, INDEX)
        saved = {name for name, _ in before.items() ^ self._stamps.items()}
        if not saved or self._early:
            return
        self._behind = True
        with self._news:
            pages = frozenset(self._looked_at)
        keys = frozenset().union(*map(_record_of, saved))
        with suppress(RecordProblems):  # all of them are found when all is rebuilt
            self._bring((), First(keys, pages))
            self._tell_news()

    def finish(self) -> bool:
        """Run the postponed tasks; return whether there were any."""
        if not self._unfinished:
            return False
        self._make(frozenset())
        return True

    def _make(self, postponed: frozenset[tuple[str, str]]) -> None:
        try:
            self._broken = self._bring(postponed, None).broken
            self.problems, self._unfinished = (), bool(postponed)
        except RecordProblems as error:
            self.problems, self._unfinished = error.problems, False
        self._early, self._behind = None, False
        self._tell_news()

    def _tell_news(self) -> None:
        with self._news:
            self._news.notify_all()

    def file(self, path: str) -> bytes | None:
        """Return a file of the mill edition in its present state; None if there is none."""
        if early := self._early:
            made = early.file(path)
            if self._early:  # the first build has not ended meanwhile
                if made is None and path.endswith(".html"):
                    return _page(
                        "The pages are being made", "<p>This page will appear by itself.</p>"
                    )
                return made
        if path.endswith(".html") and self.problems:
            return _problems_page(self.root, self.problems)
        try:
            file = (self._pages / path).resolve()
            data = read_file(file) if file.is_relative_to(self._pages) else None
        except (OSError, ValueError, RuntimeError):  # no such file, or a name that no file can have
            return None
        if data is None or not path.endswith(".html") or not self._broken:
            return data
        return data.replace(b"<main", _seal_notice(self._broken).encode() + b"<main", 1)

    def made(self, path: str) -> bytes | None:
        """Return a file as it was last built, even if the records have problems now."""
        try:
            file = (self._pages / path).resolve()
            return read_file(file) if file.is_relative_to(self._pages) else None
        except (OSError, ValueError, RuntimeError):  # as above
            return None

    def wait(self, path: str, has: str) -> bool:
        """Wait until a page differs from the one the browser has; False if that takes too long."""
        looked_at = Counter([f"mill/{path}"])
        with self._news:
            self._looked_at += looked_at
            try:
                return self._news.wait_for(lambda: mark(self.file(path)) != has, WAIT)
            finally:
                self._looked_at -= looked_at


def _record_of(file: str) -> set[str]:
    """Return the keys of what is computed from the record that a file belongs to."""
    if entry := INDEX.entry(file):
        kind, name = entry
        return {name or f"{kind}:"}
    path = PurePosixPath(file)  # a chapter, or the log in the folder of its charge
    return {path.stem, path.parent.name}


def mark(data: bytes | None) -> str:
    """Return a digest of a page."""
    return hashlib.sha256(data or b"").hexdigest()[:16]


@contextmanager
def preview_of(root: Path) -> Iterator[Preview]:
    """Yield the preview of a mill folder, with nothing built yet.

    Raises
    ------
    SiteInUseError
        Another preview of this folder is running.
    """
    with open_site(root, root / HOME, "mill") as rebuild:
        yield Preview(root, rebuild)


# --- pages of the preview's own -------------------------------------------------------------------


def _page(title: str, body: str) -> bytes:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>{title}</title><link rel="stylesheet" href="/assets/site.css">'
        "<style>main{padding:1rem;max-width:44rem}input{max-width:100%}</style></head>"
        f"<body><main><h1>{title}</h1>{body}<p>{html.escape(SAFETY)}</p></main></body></html>"
    ).encode()


def _problems_page(root: Path, problems: Iterable[Problem]) -> bytes:
    """Return the page that lists problems, with the lines of the records."""
    items = []
    for problem in problems:
        place = problem.place
        try:
            line = read_text(root / place.file, "utf-8", "replace").splitlines()[place.line - 1]
        except (OSError, IndexError):
            line = ""
        said = str(problem).removeprefix(f"{place}: ")
        items.append(
            f"<li><p><code>{html.escape(str(place))}</code></p>"
            f"<p>{html.escape(said)}</p>"
            + (f"<pre>{html.escape(line)}</pre>" if line else "")
            + "</li>"
        )
    return _page("Problems to mend before the pages can be made", f"<ol>{''.join(items)}</ol>")


def _seal_notice(broken: Iterable[str]) -> str:
    """Return the notice on every page about sealed records that were changed."""
    items = "".join(f"<li>{html.escape(words)}</li>" for words in broken)
    return (
        '<aside class="note"><details><summary>Sealed records were changed and are shown '
        f"as they were sealed</summary><ul>{items}</ul></details></aside>"
    )


#: Stands at the foot of the front page.
_TO_CODES = (
    f'<p><a href="/{scanning.PAGE}">Hand over pictures of entry codes</a> that a phone showed.</p>'
).encode()


def _codes_page() -> bytes:
    """Return the page that takes pictures of entry codes."""
    return _page("Hand over pictures of entry codes", scanning.page_body())


@dataclass(frozen=True)
class _Taker:
    """What is taken from the pages: its media type, its most bytes, and what is done with it."""

    type: str
    most: int
    refusal: str
    take: Callable[[Path, bytes], tuple[int, str]]


_TAKERS = {
    "/_entries": _Taker(
        "application/json", MAX_BYTES, "an entry file is JSON of at most 1 MB", receive
    ),
    "/_picture": _Taker(
        "image/",
        MAX_PICTURE,
        "a picture has at most 40 MB",
        lambda _, raw: scanning.look_at(raw),
    ),
    "/_codes": _Taker(
        "application/json", MAX_BYTES, "codes are JSON of at most 1 MB", scanning.receive_codes
    ),
}


# --- the server -----------------------------------------------------------------------------------


class _Handler(BaseHTTPRequestHandler):
    """Answers requests from a browser on this computer."""

    preview: ClassVar[Preview]
    protocol_version = "HTTP/1.1"
    #: Seconds that a connection may be idle.
    timeout = 60.0

    def do_GET(self) -> None:
        if why := why_refused(self.headers, self.server.server_port):  # type: ignore[attr-defined]
            return self._answer(403, "text/plain", f"{why}\n".encode())
        address = urlsplit(self.path)
        path = _file_of(unquote(address.path))
        if path == "_news":
            asked = parse_qs(address.query)
            newer = self.preview.wait(
                _file_of(asked.get("page", ["/"])[0]), asked.get("has", [""])[0]
            )
            return self._answer(200 if newer else 204, "text/plain", b"saved\n" if newer else b"")
        if path == scanning.PAGE:
            return self._answer(200, "text/html; charset=utf-8", _codes_page())
        data = self.preview.file(path)
        if data is None:
            gone = f"there is no {html.escape(path)}".encode()
            return self._answer(404, "text/html; charset=utf-8", gone + _reload(None))
        kind = mimetypes.guess_type(path)[0] or "application/octet-stream"
        if path.startswith("kiln-side/"):
            data = with_mark(data)  # without reloading, which would discard what is being typed
        elif path.endswith(".html"):
            reload = _reload(data)  # by the file alone: `wait` compares with that
            if path == "index.html":
                data = data.replace(b"</main>", _TO_CODES + b"</main>", 1)
            head, body, tail = data.rpartition(b"</body>")
            data = head + reload + body + tail
        text = "; charset=utf-8" if kind.startswith("text/") else ""
        return self._answer(200, kind + text, data)

    def do_POST(self) -> None:
        """Accept an entry file from the kiln-side page, or pictures of its codes."""
        port = self.server.server_port  # type: ignore[attr-defined]
        why = why_refused(self.headers, port) or (
            "" if self.headers.get("Origin") else "only for this computer's own pages"
        )
        taker = _TAKERS.get(urlsplit(self.path).path)
        if why or taker is None:
            self.close_connection = True
            return self._answer(
                403, "text/plain", f"{why or 'nothing is accepted here'}\n".encode()
            )
        length = self.headers.get("Content-Length", "")
        if (
            not LENGTH.fullmatch(length)
            or int(length) > taker.most
            or not self.headers.get_content_type().startswith(taker.type)
        ):
            self.close_connection = True
            return self._answer(413, "text/plain", f"{taker.refusal}\n".encode())
        status, words = taker.take(self.preview.root, self.rfile.read(int(length)))
        return self._answer(status, "text/plain; charset=utf-8", f"{words}\n".encode())

    def _answer(self, status: int, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        for name, value in HEADERS.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        """Do not log requests."""


def _file_of(path: str) -> str:
    """Return the file for the path of a request."""
    path = path.lstrip("/")
    return path + "index.html" if path == "" or path.endswith("/") else path


def _reload(data: bytes | None) -> bytes:
    """Return the script that reloads this page when it has changed."""
    script = (resources.files("kilnfolio.adopt") / "assets" / "reload.js").read_text("utf-8")
    return f'<script data-mark="{mark(data)}">\n{script}</script>'.encode()


class _Server(ThreadingHTTPServer):
    """Answers several requests at once."""

    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """Ignore a browser that disconnected; print one line about a fault of ours."""
        del request, client_address
        error = sys.exception()
        if not isinstance(error, ConnectionError | TimeoutError):
            sys.stderr.write(f"kilnfolio: a page could not be served: {error!r}\n")


def make_server(preview: Preview, port: int) -> ThreadingHTTPServer:
    """Return a server of the pages for this computer only; port 0 takes any free one."""
    handler = type("Handler", (_Handler,), {"preview": preview})
    return _Server(("127.0.0.1", port), handler)


@dataclass(frozen=True)
class LanChoice:
    """How devices on the mill's network reach the kiln-side pages.

    Attributes
    ----------
    address : str
        Address of this computer on the network; empty to detect it.
    port : int
        Port of the server for them.
    certificate : (Path, Path), optional
        Certificate and key as PEM files.
    """

    address: str
    port: int
    certificate: tuple[Path, Path] | None = None


def serve(root: Path, port: int, say: Callable[[str], None], lan: LanChoice | None = None) -> int:
    """Serve the pages of a mill folder until stopped; return the exit code."""
    with preview_of(root) as preview:
        servers: list[ThreadingHTTPServer] = [make_server(preview, port)]
        say(f"http://127.0.0.1:{servers[0].server_port}/  (Ctrl-C ends it)")
        opened: Lan | None = None
        if lan is not None:
            opened = make_lan(
                root, preview.made, lan.address or own_address(), lan.port, lan.certificate
            )
            servers.append(opened.server)
            say(
                f"for devices of the mill's network: {opened.address}"
                + ("" if lan.certificate else "  (not encrypted: see the guide)")
            )
        for server in servers:
            threading.Thread(target=server.serve_forever, daemon=True).start()
        code = ""
        try:
            while True:
                if opened and opened.pairing.current() != code:
                    code = opened.pairing.current()
                    say(f"code to pair a device: {code[:4]} {code[4:]}")
                if preview.refresh():
                    for problem in preview.problems:
                        say(str(problem))
                    say(
                        f"made in {preview.seconds:.1f} s; "
                        + (
                            "there are problems; see the page"
                            if preview.problems
                            else "the pages are up to date"
                        )
                    )
                elif not preview.finish():
                    time.sleep(POLL)
        except KeyboardInterrupt:
            return 0
        finally:
            for server in servers:
                server.shutdown()
                server.server_close()
