"""A plain web server on this computer, set up as in the guide."""

from __future__ import annotations

import contextlib
import datetime as dt
import ssl
import threading
from collections.abc import Callable, Iterator, Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import unquote, urlsplit

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from kilnfolio.site.serving import HEADERS, HTTPS_HEADERS, TYPES

#: The answer to a request: status, headers, body.
Answer = tuple[int, Mapping[str, str], bytes]


def answered(folder: Path, path: str) -> Answer:
    """Return the answer of a well-configured server."""
    file = folder / path.lstrip("/")
    if path.endswith("/"):
        file /= "index.html"
    if not file.is_file():
        return 404, {}, b"nothing here\n"
    return 200, {**HEADERS, **HTTPS_HEADERS, "Content-Type": TYPES[file.suffix]}, file.read_bytes()


def self_signed(folder: Path) -> tuple[Path, Path]:
    """Write a self-signed certificate of this computer, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = dt.datetime.now(dt.UTC)
    made = (
        x509.CertificateBuilder(
            issuer_name=name,
            subject_name=name,
            public_key=key.public_key(),
            serial_number=1,
            not_valid_before=now - dt.timedelta(days=1),
            not_valid_after=now + dt.timedelta(days=1),
        )
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .sign(key, hashes.SHA256())
    )
    (folder / "cert.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    pem, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    (folder / "key.pem").write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain)
    )
    return folder / "cert.pem", folder / "key.pem"


@contextlib.contextmanager
def serving(
    folder: Path,
    otherwise: Callable[[str, Answer], Answer] = lambda _, answer: answer,
    secure: ssl.SSLContext | None = None,
) -> Iterator[str]:
    """Serve a folder to this computer; `otherwise` may change the answer to a path.

    With `secure`, serve over https under the name localhost.
    """

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
            """Do not log requests."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    if secure:
        server.socket = secure.wrap_socket(server.socket, server_side=True)
        server.handle_error = lambda *_: (
            None
        )  # a client that does not trust it closes the connection
    # it checks for the end every 20 ms instead of every half second, since tests end many servers
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield (
            f"https://localhost:{server.server_port}"
            if secure
            else f"http://127.0.0.1:{server.server_port}"
        )
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
