"""Who may ask a server that runs on this computer for this computer's own browser.

Any web page that is open in the same browser can send requests to it too. It may not have the
pages as frames, and not the registers as scripts, whose rows it could then read. So an answer goes
to the server's own pages and to whoever opens an address, and says to the browser that nobody else
may use it.

References
----------
.. [1] Fetch Metadata Request Headers, W3C: what asks, and from where.
.. [2] Fetch, WHATWG: Cross-Origin-Resource-Policy. HTML, WHATWG: Cross-Origin-Opener-Policy.
.. [3] Content Security Policy Level 3, W3C: frame-ancestors.
"""

from __future__ import annotations

from email.message import Message

#: Names a browser on this computer may call the server by; with any other, a page elsewhere has
#: given this computer a name of its own to reach in.
_NAMES = ("127.0.0.1", "localhost")

#: What every answer carries.
HEADERS: dict[str, str] = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


def stranger(headers: Message, port: int) -> str:
    """Return why a request is refused; empty where it comes from the pages themselves.

    Parameters
    ----------
    headers : Message
        Of the request.
    port : int
        Where this server listens.
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
    # a browser that sends no such header still keeps what Cross-Origin-Resource-Policy says
    if headers.get("Sec-Fetch-Site", "none") in ("same-origin", "none") or opened:
        return ""
    return "only for this computer's own pages"
