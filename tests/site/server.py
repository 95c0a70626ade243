"""A plain web server on this computer, as the guide says one is set up."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator, Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import unquote, urlsplit

from kilnfolio.site.serving import HEADERS, TYPES

#: What a request is answered with: status, headers, body.
Answer = tuple[int, Mapping[str, str], bytes]


def answered(folder: Path, path: str) -> Answer:
    """Return what a server well set up answers."""
    file = folder / path.lstrip("/")
    if path.endswith("/"):
        file /= "index.html"
    if not file.is_file():
        return 404, {}, b"nothing here\n"
    return 200, {**HEADERS, "Content-Type": TYPES[file.suffix]}, file.read_bytes()


@contextlib.contextmanager
def serving(folder: Path, otherwise: Callable[[str, Answer], Answer] = lambda _, answer: answer
            ) -> Iterator[str]:
    """Serve a folder to this computer; `otherwise` may change what a path is answered with."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self):
            path = unquote(urlsplit(self.path).path)
            status, headers, body = otherwise(path, answered(folder, path))
            self.send_response(status)
            for name, value in {**headers, "Content-Length": str(len(body))}.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_):
            """Say nothing of each request."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    # it looks for the end every 20 ms, and not every half second, since tests end many servers
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
