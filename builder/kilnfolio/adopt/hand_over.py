"""Accepts entries from the kiln-side page: from this computer, or from paired devices.

`preview` accepts entries from its own pages. `preview --lan` opens a second server for the mill's
network. It serves the kiln-side pages and the files they need, accepts entry files, and does
nothing else: it serves no other file. A device must first be paired with a code shown on the
screen. Every request must address the server by the name shown there, and come from the server's
own pages.

Without a certificate the traffic is not encrypted: anybody listening on the network can read the
entries and impersonate a paired device. The guide says so.

References
----------
.. [1] RFC 6265, HTTP State Management Mechanism: HttpOnly, and the later SameSite attribute.
.. [2] Fetch Metadata Request Headers, W3C.
"""

from __future__ import annotations

import datetime as dt
import hmac
import html
import json
import mimetypes
import re
import secrets
import socket
import ssl
import threading
import time
from collections import Counter, defaultdict, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from email.message import Message
from http.cookies import CookieError, SimpleCookie
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar
from urllib.parse import parse_qs, unquote, urlsplit

from kilnfolio.adopt.entry.entries import MAX_BYTES
from kilnfolio.adopt.entry.take import Taken, read_entries, take_entries
from kilnfolio.adopt.local_only import HEADERS
from kilnfolio.adopt.logs import zone_of
from kilnfolio.records.problems import RecordProblems
from kilnfolio.rendering.safety import SAFETY

#: Tells the kiln-side page that this server accepts entries.
MARK = b'<meta name="kilnfolio-takes-entries" content="yes">'
#: Digits of the code, minutes it is valid, and wrong codes before it is replaced.
CODE_DIGITS, CODE_MINUTES, WRONG_CODES = 8, 10.0, 5
#: Requests and entry files per device and minute, and the most devices paired.
REQUESTS, FILES, DEVICES = 240, 20, 40
#: The longest body of a pairing form [bytes], and seconds a connection may be idle.
_FORM_BYTES, _QUIET = 200, 20.0
_COOKIE = "kilnfolio-device"
#: The length of a body as HTTP writes it; a body whose length has more digits is too large.
LENGTH = re.compile(r"[0-9]{1,9}")
#: Most open connections per address.
CONNECTIONS = 16


#: Returns a file of the mill edition by its path; None if there is none.
Pages = Callable[[str], bytes | None]


def with_mark(page: bytes) -> bytes:
    """Return a kiln-side page with the mark that it can hand over directly."""
    return page.replace(b"<head>", b"<head>\n" + MARK, 1)


def receive(root: Path, raw: bytes) -> tuple[int, str]:
    """Take an entry file; return the HTTP status and a message."""
    taken, zone = Taken(), zone_of(root)
    for last in (False, True):
        try:
            entries = read_entries(raw, "handed over", zone)
            take_entries(
                root, entries, "handed over", zone, dt.datetime.now(dt.UTC), dt.timedelta(), taken
            )
        except RecordProblems as error:
            if not last and "changed while" in str(error):
                taken = Taken()
                continue  # somebody saved the record meanwhile: try once more
            return 422, "Not taken: " + " ".join(str(one) for one in error.problems[:3])
        break
    words = f"Taken: {taken.new} new, {taken.same} there already."
    if taken.left:
        return 409, f"{words} Not taken: {' '.join(taken.left[:5])}"
    return 200, words


# --- pairing --------------------------------------------------------------------------------------


@dataclass
class Pairing:
    """The code on the screen, and the paired devices."""

    code: str = ""
    until: float = 0.0
    wrong: int = 0
    devices: set[str] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def current(self) -> str:
        """Return the valid code; a new one once it has expired or been guessed at."""
        with self._lock:
            return self._current()

    def _current(self) -> str:
        if time.monotonic() >= self.until or self.wrong >= WRONG_CODES:
            self.code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}}"
            self.until, self.wrong = time.monotonic() + 60.0 * CODE_MINUTES, 0
        return self.code

    def pair(self, code: str) -> str:
        """Return a token for a device that gives the code; empty for a wrong code."""
        with self._lock:
            right = self._current()
            if len(self.devices) >= DEVICES or not hmac.compare_digest(
                right.encode(), code.strip().encode()
            ):
                self.wrong += 1
                return ""
            self.until = 0.0  # each code pairs one device
            token = secrets.token_urlsafe(32)
            self.devices.add(token)
            return token

    def knows(self, token: str) -> bool:
        """Return whether a token belongs to a paired device."""
        with self._lock:
            return any(hmac.compare_digest(token.encode(), one.encode()) for one in self.devices)


@dataclass
class Rate:
    """Counts requests from each address in the last minute."""

    most: int
    _times: dict[str, deque[float]] = field(default_factory=lambda: defaultdict(deque))
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def allows(self, who: str) -> bool:
        """Count a request, and return whether it is within the limit."""
        now = time.monotonic()
        with self._lock:
            times = self._times[who]
            while times and now - times[0] > 60.0:
                times.popleft()
            if len(times) >= self.most:
                return False
            times.append(now)
            if len(self._times) > 1000:
                self._times.pop(next(iter(self._times)))
            return True


# --- the server for the mill's network ------------------------------------------------------------


class _LanHandler(BaseHTTPRequestHandler):
    """Answers requests from devices on the mill's network."""

    root: ClassVar[Path]
    pages: ClassVar[Pages]
    pairing: ClassVar[Pairing]
    requests: ClassVar[Rate]
    files: ClassVar[Rate]
    host: ClassVar[str]
    secure: ClassVar[bool]
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "kilnfolio", ""
    timeout = _QUIET

    def do_GET(self) -> None:
        if self._refused(posting=False):
            return None
        path = unquote(urlsplit(self.path).path).lstrip("/")
        if not self.pairing.knows(self._token()):
            return self._answer(200, "text/html; charset=utf-8", _pair_page(""))
        if path == "":
            return self._answer(200, "text/html; charset=utf-8", self._start())
        data = type(self).pages(path) if _may_read(path) else None
        if data is None:
            return self._answer(404, "text/plain; charset=utf-8", b"there is no such page\n")
        kind = mimetypes.guess_type(path)[0] or "application/octet-stream"
        if path.endswith(".html"):
            data = with_mark(data)
        text = "; charset=utf-8" if kind.startswith("text/") else ""
        return self._answer(200, kind + text, data)

    def do_POST(self) -> None:
        # the unread rest of a refused body would be parsed as another request, whose headers a
        # foreign page could have chosen
        self.close_connection = True
        raw = self._body()
        if raw is None or self._refused(posting=True):
            return None
        path = urlsplit(self.path).path
        if path == "/_pair":
            return self._pair(raw)
        if path != "/_entries" or not self.pairing.knows(self._token()):
            return self._answer(403, "text/plain; charset=utf-8", b"this device is not paired\n")
        if not self.files.allows(self.client_address[0]):
            return self._answer(429, "text/plain; charset=utf-8", b"too many files in a minute\n")
        if self.headers.get_content_type() != "application/json":
            return self._answer(415, "text/plain; charset=utf-8", b"an entry file is JSON\n")
        status, words = receive(self.root, raw)
        return self._answer(status, "text/plain; charset=utf-8", f"{words}\n".encode())

    def _pair(self, raw: bytes) -> None:
        if len(raw) > _FORM_BYTES:
            return self._answer(413, "text/plain; charset=utf-8", b"too long\n")
        code = parse_qs(raw.decode("utf-8", "replace")).get("code", [""])[0]
        token = self.pairing.pair(code.replace(" ", ""))
        if not token:
            return self._answer(
                403, "text/html; charset=utf-8", _pair_page("That is not the code on the screen.")
            )
        cookie = f"{_COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age=2592000" + (
            "; Secure" if self.secure else ""
        )
        return self._answer(
            303, "text/plain; charset=utf-8", b"", {"Set-Cookie": cookie, "Location": "/"}
        )

    def _refused(self, *, posting: bool) -> bool:
        """Refuse a request that is not allowed, and return whether it was one."""
        if not self.requests.allows(self.client_address[0]):
            self._answer(429, "text/plain; charset=utf-8", b"too many requests in a minute\n")
        elif why := why_refused(self.headers, self.host, secure=self.secure, posting=posting):
            self._answer(403, "text/plain; charset=utf-8", f"{why}\n".encode())
        else:
            return False
        return True

    def _body(self) -> bytes | None:
        """Return the body of a request; None if it was refused."""
        length = self.headers.get("Content-Length", "")
        if not LENGTH.fullmatch(length) or self.headers.get("Transfer-Encoding"):
            self._answer(411, "text/plain; charset=utf-8", b"say how long it is\n")
        elif int(length) > MAX_BYTES:
            self._answer(413, "text/plain; charset=utf-8", b"too long\n")
        else:
            return self.rfile.read(int(length))
        return None

    def _token(self) -> str:
        try:
            found = SimpleCookie(self.headers.get("Cookie", "")).get(_COOKIE)
        except CookieError:
            return ""
        return found.value if found else ""

    def _start(self) -> bytes:
        """Return the page that lists the kiln-side pages."""
        files = json.loads(type(self).pages("kiln-side/pages.json") or b"[]")
        numbers = [name.removesuffix(".html") for name in files if name.endswith(".html")]
        items = "".join(
            f'<li><a href="/kiln-side/{html.escape(one)}.html">{html.escape(one)}</a></li>'
            for one in numbers
        )
        return _page("At the kiln", f"<ul>{items}</ul>" if items else "<p>No charge is open.</p>")

    def _answer(
        self, status: int, kind: str, body: bytes, more: dict[str, str] | None = None
    ) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        for name, value in {**HEADERS, **(more or {})}.items():
            self.send_header(name, value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        """Do not log requests."""


def why_refused(headers: Message, host: str, *, secure: bool, posting: bool) -> str:
    """Return why a request is refused; empty if it comes from this server's own pages.

    Parameters
    ----------
    headers : Message
        Headers of the request.
    host : str
        The address shown on the screen, with its port.
    secure : bool
        Whether the server uses TLS.
    posting : bool
        Whether the request changes something.
    """
    if headers.get_all("Host") != [host]:
        return "not the address on the screen"
    origin = headers.get("Origin")
    if (origin is not None or posting) and origin != f"http{'s' if secure else ''}://{host}":
        return "only for this server's own pages"
    site = headers.get("Sec-Fetch-Site", "none" if not posting else "same-origin")
    opened = (headers.get("Sec-Fetch-Mode"), headers.get("Sec-Fetch-Dest")) == (
        "navigate",
        "document",
    ) and not posting
    return "" if site in ("same-origin", "none") or opened else "only for this server's own pages"


def _may_read(path: str) -> bool:
    """Return whether a paired device may read a file: a kiln-side page or what it needs."""
    return ".." not in path.split("/") and path.startswith(("kiln-side/", "assets/"))


def _page(title: str, body: str) -> bytes:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" '
        f'content="width=device-width, initial-scale=1"><title>{title}</title>'
        "<style>body{font:1.2rem/1.5 sans-serif;margin:1rem;max-width:30rem}input,button"
        "{font:inherit;min-height:3rem;width:100%;margin:.5rem 0}</style></head>"
        f"<body><main><h1>{title}</h1>{body}<p><small>{html.escape(SAFETY)}</small></p>"
        "</main></body></html>"
    ).encode()


def _pair_page(wrong: str) -> bytes:
    return _page(
        "Pair this device",
        (f"<p><b>{html.escape(wrong)}</b></p>" if wrong else "")
        + '<form method="post" action="/_pair"><label for="code">The code on the screen '
        'of the mill’s computer</label><input id="code" name="code" inputmode="numeric" '
        'autocomplete="one-time-code" required maxlength="12">'
        "<button>Pair</button></form>",
    )


class _LanServer(ThreadingHTTPServer):
    """Answers several devices at once, each in a thread."""

    daemon_threads = True

    def __init__(self, *words: Any):
        super().__init__(*words)
        self._held: Counter[str] = Counter()
        self._lock = threading.Lock()

    def process_request(self, request: Any, client_address: Any) -> None:
        """Answer in a thread, unless this address has too many connections."""
        with self._lock:
            held = self._held[client_address[0]] >= CONNECTIONS
            self._held[client_address[0]] += not held
        if held:
            self.shutdown_request(request)
        else:
            super().process_request(request, client_address)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Answer, then stop counting the connection."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            with self._lock:
                self._held[client_address[0]] -= 1
                self._held += Counter()  # forget addresses without connections

    def handle_error(self, request: object, client_address: object) -> None:
        """Do not report a device that disconnected."""


@dataclass
class Lan:
    """A running server for the mill's network.

    Attributes
    ----------
    server : ThreadingHTTPServer
        The server; the caller must shut it down.
    address : str
        The address that devices open.
    pairing : Pairing
        The code for the screen.
    """

    server: ThreadingHTTPServer
    address: str
    pairing: Pairing


def own_address() -> str:
    """Return this computer's address on its network, without sending anything."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # reserved for documentation by RFC 5737
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def make_lan(
    root: Path, pages: Pages, address: str, port: int, certificate: tuple[Path, Path] | None = None
) -> Lan:
    """Return a server for the devices of the mill's network, not yet answering.

    Parameters
    ----------
    root : Path
        The mill folder.
    pages : callable
        Returns a file of the mill edition by its path; None if there is none.
    address : str
        Address of this computer on the network.
    port : int
        Port; 0 for any free one.
    certificate : (Path, Path), optional
        Certificate and key as PEM files; without them the traffic is not encrypted.
    """
    pairing = Pairing()
    handler = type(
        "Handler",
        (_LanHandler,),
        {
            "root": root,
            "pages": staticmethod(pages),
            "pairing": pairing,
            "requests": Rate(REQUESTS),
            "files": Rate(FILES),
            "secure": certificate is not None,
            "host": "",
        },
    )
    server = _LanServer((address, port), handler)
    handler.host = f"{address}:{server.server_port}"  # type: ignore[attr-defined]
    if certificate is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(*certificate)
        server.socket = context.wrap_socket(
            server.socket, server_side=True, do_handshake_on_connect=False
        )
    scheme = "https" if certificate else "http"
    return Lan(server, f"{scheme}://{address}:{server.server_port}/", pairing)
