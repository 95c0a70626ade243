"""Restricts a local server to its own pages in this computer's browser.

Any web page open in the same browser can send requests to the server too. It must not embed the
pages in frames, nor load the registers as scripts and so read their rows. So the server answers
only its own pages and addresses opened directly, and its headers tell the browser that nobody else
may use the answer.

References
----------
.. [1] Fetch Metadata Request Headers, W3C: what asks, and from where.
.. [2] Fetch, WHATWG: Cross-Origin-Resource-Policy. HTML, WHATWG: Cross-Origin-Opener-Policy.
.. [3] Content Security Policy Level 3, W3C: frame-ancestors.
"""

from __future__ import annotations

from email.message import Message

#: Host names that a browser on this computer may use for the server. Any other means that a foreign
#: site has pointed its own name at this computer (DNS rebinding).
_NAMES = ("127.0.0.1", "localhost")

#: Headers of every answer.
HEADERS: dict[str, str] = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


def why_refused(headers: Message, port: int) -> str:
    """Return why a request is refused; empty if it comes from the server's own pages.

    Parameters
    ----------
    headers : Message
        Headers of the request.
    port : int
        Port of this server.
    """
    own = [f"{name}:{port}" for name in _NAMES] + ([*_NAMES] if port == 80 else [])
    if headers.get_all("Host") is None or headers.get_all("Host") not in [[one] for one in own]:
        return "only for this computer"
    origin = headers.get("Origin")
    if origin is not None and origin not in [f"http://{one}" for one in own]:
        return "only for this computer's own pages"
    opened = (headers.get("Sec-Fetch-Mode"), headers.get("Sec-Fetch-Dest")) == (
        "navigate",
        "document",
    )
    # a browser that does not send this header still obeys Cross-Origin-Resource-Policy
    if headers.get("Sec-Fetch-Site", "none") in ("same-origin", "none") or opened:
        return ""
    return "only for this computer's own pages"
