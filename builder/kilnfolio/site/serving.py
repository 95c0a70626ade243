"""Serving the customer edition: the headers it needs, and a comparison of a server with the build.

References
----------
.. [1] Content Security Policy Level 3, W3C.
.. [2] RFC 9110, HTTP Semantics; RFC 9111, HTTP Caching; RFC 9309, Robots Exclusion Protocol (the
   header is a convention of the search engines beside it).
"""

from __future__ import annotations

import hashlib
import http.client
import ssl
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from email.message import Message
from ipaddress import ip_address
from pathlib import Path
from typing import IO
from urllib.parse import quote, urlsplit

from kilnfolio import __version__
from kilnfolio.runtime.files import read_file
from kilnfolio.runtime.values import dataclass

#: Headers of every response. The policy [1]_ lets a page load files of its own site only: no
#: inline scripts, no other server, no framing, no form submission.
HEADERS: dict[str, str] = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "font-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "Cache-Control": "no-cache",
}

#: A further header of every https response: for a year, browsers reach this address by https only
#: (RFC 6797), so nobody in between can answer unencrypted.
HTTPS_HEADERS: dict[str, str] = {"Strict-Transport-Security": "max-age=31536000"}

#: The media type of each kind of file; a browser told not to guess (nosniff) refuses a wrong one.
TYPES: dict[str, str] = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".json": "application/json",
    ".pdf": "application/pdf",
    ".woff2": "font/woff2",
    ".txt": "text/plain",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}

#: Files per line of progress.
_OFTEN = 500
#: Seconds without data, seconds for a whole response, and simultaneous requests.
PATIENCE, LONGEST, AT_ONCE = 30.0, 120.0, 8
#: Bytes read of the page at the address itself: a listing of lots would show up in fewer.
_FRONT = 1024 * 1024


class NotReachedError(Exception):
    """No server responds at the address; the message says why."""


class NothingBuiltError(Exception):
    """The folder holds no customer edition."""


@dataclass(frozen=True, order=True)
class Difference:
    """A response that differs from the build."""

    path: str
    """Path below the address; empty for the address itself."""
    what: str
    """What differs, as a sentence."""


@dataclass(frozen=True)
class Comparison:
    """The number of files fetched, and the differences."""

    files: int
    differences: tuple[Difference, ...]


@dataclass(frozen=True)
class _Response:
    status: int
    headers: Message
    body: bytes


def compare(address: str, edition: Path, say: Callable[[str], None] = lambda _: None) -> Comparison:
    """Fetch every file of a customer edition from where it is published and compare.

    Parameters
    ----------
    address : str
        Where the edition is published, as in ``https://records.mill.example``.
    edition : Path
        The edition as built, ``site/customer``.
    say : callable
        Called with each line of progress.

    Returns
    -------
    Comparison
        Differences in the order of their paths; none if the server matches the build.

    Raises
    ------
    NothingBuiltError
        If the folder holds no files.
    NotReachedError
        If it is no address of a web server, or no server responds there.
    """
    files = sorted(path for path in edition.rglob("*") if path.is_file())
    if not files:
        raise NothingBuiltError(f"{edition}: there is nothing in it; kilnfolio build makes it")
    if not _is_address(address):
        raise NotReachedError(
            f"{address}: it is not an address, as in https://records.mill.example"
        )
    base = address.rstrip("/")
    found = list(_address_differences(base, edition))
    names = [path.relative_to(edition).as_posix() for path in files]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        asked = pool.map(lambda name: list(_file_differences(base, name, edition / name)), names)
        for number, differences in enumerate(asked, 1):
            found += differences
            if number % _OFTEN == 0:
                say(f"{number} of {len(names)} files")
    return Comparison(len(files), tuple(sorted(found)))


def _is_address(address: str) -> bool:
    """Return whether this is the address of a web server, without a user name or password."""
    try:
        parts = urlsplit(address)
        return (
            parts.scheme in ("http", "https")
            and bool(parts.hostname)
            and parts.port != 0
            and "@" not in parts.netloc
            and not parts.query
            and not parts.fragment
            and address.isprintable()
            and " " not in address
        )
    except ValueError:  # a port that is not a number, an unclosed bracket
        return False


def _address_differences(base: str, edition: Path) -> Iterator[Difference]:
    """Yield differences at the address itself: no encryption, or a listing of the lots."""
    parts = urlsplit(base)
    if parts.scheme != "https" and not _loopback(parts.hostname or ""):
        yield Difference("", "it is not https: whoever carries the page may change it on the way")
    lots = [path.parent.name for path in edition.glob("*/index.html")]
    front = _fetch(base + "/", _FRONT)
    shown = [lot for lot in lots if lot.encode() in front.body]
    if shown:
        yield Difference(
            "", f"it lists the lots, {len(shown)} of them; turn the server's listing of folders off"
        )


def _file_differences(base: str, name: str, file: Path) -> Iterator[Difference]:
    built = read_file(file)
    # a label links to the folder; the server must find the page in it
    asked = {name, name.removesuffix("index.html")}
    for path in sorted(asked):
        answer = _fetch(f"{base}/{quote(path)}", len(built))
        if answer.status != 200:
            yield Difference(path, _status_words(answer))
            continue
        if len(answer.body) > len(built):
            yield Difference(path, f"more bytes than the {len(built):,} that were built")
        elif answer.body != built:
            yield Difference(
                path, f"other bytes: SHA-256 {_digest(answer.body)} instead of {_digest(built)}"
            )
        wanted = HEADERS | (HTTPS_HEADERS if base.startswith("https:") else {})
        yield from (
            Difference(path, words) for words in _header_faults(name, answer.headers, wanted)
        )


def _status_words(answer: _Response) -> str:
    if 300 <= answer.status < 400:
        return f"the server sends the reader on to {answer.headers.get('Location', 'nowhere')}"
    return f"the server answers {answer.status} instead of 200"


def _header_faults(name: str, headers: Message, all_wanted: Mapping[str, str]) -> Iterator[str]:
    for header, wanted in all_wanted.items():
        given = headers.get_all(header) or []
        if not given:
            yield f"no header {header}: {wanted}"
        elif sorted(_parts(", ".join(given))) != sorted(_parts(wanted)):
            yield f"header {header} is '{', '.join(given)}' instead of '{wanted}'"
    kind = TYPES.get(Path(name).suffix)
    if kind and headers.get_content_type() != kind:
        yield f"header Content-Type is '{headers.get('Content-Type', 'absent')}' instead of {kind}"


def _parts(value: str) -> Iterable[str]:
    """Return the directives of a header as a set: order and spaces do not matter."""
    return (
        " ".join(part.split()).lower()
        for part in value.replace(",", ";").split(";")
        if part.strip()
    )


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """Refuses redirects: a label's address must answer directly."""

    def redirect_request(
        self,
        req: urllib.request.Request,
        fp: IO[bytes],
        code: int,
        msg: str,
        headers: Message,
        newurl: str,
    ) -> None:
        """Follow no redirect."""


_OPENER = urllib.request.build_opener(_NoRedirect)


def _fetch(url: str, most: int) -> _Response:
    """Fetch an address; read at most one byte more than `most` of the body."""
    request = urllib.request.Request(url, headers={"User-Agent": f"kilnfolio/{__version__}"})
    end = time.monotonic() + LONGEST
    try:
        try:
            with _OPENER.open(request, timeout=PATIENCE) as answer:
                return _Response(answer.status, answer.headers, _body(answer, most, end))
        except urllib.error.HTTPError as error:
            with error:
                return _Response(error.code, error.headers, b"")
    except (OSError, ssl.SSLError) as error:
        why = getattr(error, "reason", None) or error
        raise NotReachedError(f"{url}: no answer ({why})") from None
    except (http.client.HTTPException, ValueError) as error:
        raise NotReachedError(
            f"{url}: what answers there is no web server ({type(error).__name__})"
        ) from None


def _body(answer: IO[bytes], most: int, end: float) -> bytes:
    """Read a response's body, chunk by chunk, within the time allowed.

    Raises
    ------
    TimeoutError
        If the whole body does not arrive in time.
    """
    pieces: list[bytes] = []
    left = most + 1
    while left > 0 and (piece := answer.read1(min(left, 65_536))):  # type: ignore[attr-defined]
        if time.monotonic() > end:
            raise TimeoutError(f"the answer takes longer than {LONGEST:.0f} s")
        pieces.append(piece)
        left -= len(piece)
    return b"".join(pieces)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16] + "…"


def _loopback(host: str) -> bool:
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False
