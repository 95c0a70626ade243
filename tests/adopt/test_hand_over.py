"""Entries handed over: only from this computer's pages and from paired devices of the mill."""

import datetime as dt
import http.client
import json
import socket
import ssl
import threading

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from tests.minimal import DROP, FILES, minimal_mill

from kilnfolio.adopt import hand_over
from kilnfolio.adopt.hand_over import Pairing, make_lan, receive, with_mark
from kilnfolio.adopt.preview import make_server
from kilnfolio.records.yaml_source import parse_yaml

RUNNING = {"ended": DROP, "unloaded": DROP, "survey": DROP, "signatures": DROP}
PAGES = {
    "kiln-side/C1.html": b"<html><head></head>round</html>",
    "kiln-side/pages.json": b'["C1.html", "../assets/site.css"]',
    "assets/site.css": b"body{}",
    "index.html": b"prices and names",
    "charges/C1.html": b"all",
}
ENTRIES = {
    "kilnfolio_entries": 1,
    "charge": "C1",
    "by": "R. Quill",
    "device": "phone",
    "saved": "2026-06-08T08:01:00-04:00",
    "zone": "America/Toronto",
    "entries": [
        {
            "id": "abcdef012345",
            "kind": "weighing",
            "at": "2026-06-08T08:00:00-04:00",
            "masses": {"S1": "2230 g"},
        }
    ],
}


@pytest.fixture
def root(tmp_path):
    return minimal_mill(tmp_path / "mill", charge=RUNNING)


@pytest.fixture
def lan(root):
    lan = make_lan(root, PAGES.get, "127.0.0.1", 0)
    threading.Thread(target=lan.server.serve_forever, daemon=True).start()
    yield lan
    lan.server.shutdown()
    lan.server.server_close()


def ask(server, method, path, body=None, host=None, **headers):
    port = server.server_port
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    sent = {
        "Host": host or f"127.0.0.1:{port}",
        **{name.replace("_", "-"): value for name, value in headers.items()},
    }
    try:
        connection.request(method, path, body=body, headers=sent)
        answer = connection.getresponse()
        return answer, answer.read().decode("utf-8", "replace")
    finally:
        connection.close()


def own(server):
    return f"http://127.0.0.1:{server.server_port}"


def paired(lan):
    answer, _ = ask(
        lan.server, "POST", "/_pair", f"code={lan.pairing.current()}", Origin=own(lan.server)
    )
    assert answer.status == 303
    cookie = answer.getheader("Set-Cookie")
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    return cookie.split(";")[0]


def hand(lan, cookie, body=None, **headers):
    return ask(
        lan.server,
        "POST",
        "/_entries",
        body or json.dumps(ENTRIES),
        **{
            "Origin": own(lan.server),
            "Cookie": cookie,
            "Content_Type": "application/json",
            **headers,
        },
    )


def masses(root):
    return parse_yaml((root / FILES["charge"]).read_bytes(), "").value["weighings"][-1]["masses"]


def test_a_paired_device_hands_over_once(lan, root):
    cookie = paired(lan)
    answer, words = hand(lan, cookie)
    assert (answer.status, words) == (200, "Taken: 1 new, 0 there already.\n")
    assert masses(root) == {"S1": "2230 g"}
    answer, words = hand(lan, cookie)
    assert (answer.status, words) == (200, "Taken: 0 new, 1 there already.\n")


def test_an_unpaired_device_gets_only_the_pairing_form(lan, root):
    for path in ("/", "/kiln-side/C1.html", "/assets/site.css", "/index.html"):
        answer, words = ask(lan.server, "GET", path)
        assert (answer.status, "code on the screen" in words) == (200, True)
        assert "round" not in words
    before = (root / FILES["charge"]).read_bytes()
    answer, _ = hand(lan, "kilnfolio-device=guess")
    assert answer.status == 403
    assert (root / FILES["charge"]).read_bytes() == before


@pytest.mark.parametrize(
    "path",
    [
        "/index.html",
        "/charges/C1.html",
        "/kiln-side/../index.html",
        "/kiln-side/%2e%2e/index.html",
        "/content/mill.yaml",
        "/assets/../../keys",
        "/kiln-side/%00",
        "//index.html",
    ],
)
def test_a_paired_device_can_read_no_other_file(lan, path):
    answer, words = ask(lan.server, "GET", path, Cookie=paired(lan))
    assert answer.status == 404
    assert "prices" not in words


def test_a_paired_device_gets_the_page_and_may_hand_entries_over(lan):
    cookie = paired(lan)
    answer, words = ask(lan.server, "GET", "/kiln-side/C1.html", Cookie=cookie)
    assert answer.status == 200
    assert "kilnfolio-takes-entries" in words
    for name, value in (
        ("X-Frame-Options", "DENY"),
        ("Cache-Control", "no-store"),
        ("Cross-Origin-Resource-Policy", "same-origin"),
    ):
        assert answer.getheader(name) == value
    assert "frame-ancestors 'none'" in answer.getheader("Content-Security-Policy")
    assert "/kiln-side/C1.html" in ask(lan.server, "GET", "/", Cookie=cookie)[1]


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"host": "evil.example"},
        {"host": "127.0.0.1"},
    ],
)
def test_pages_from_elsewhere_cannot_send_entries(lan, root, headers):
    cookie = paired(lan)
    before = (root / FILES["charge"]).read_bytes()
    host = headers.pop("host", None)
    answer, _ = ask(
        lan.server,
        "POST",
        "/_entries",
        json.dumps(ENTRIES),
        host=host,
        **{
            "Origin": own(lan.server),
            "Cookie": cookie,
            "Content_Type": "application/json",
            **headers,
        },
    )
    assert answer.status == 403
    assert (root / FILES["charge"]).read_bytes() == before


def test_a_request_without_an_origin_changes_nothing(lan):
    answer, _ = ask(
        lan.server,
        "POST",
        "/_entries",
        json.dumps(ENTRIES),
        Cookie=paired(lan),
        Content_Type="application/json",
    )
    assert answer.status == 403


def test_a_request_under_another_host_name_cannot_even_read(lan):
    answer, words = ask(lan.server, "GET", "/", host="mill.evil.example")
    assert (answer.status, words) == (403, "not the address on the screen\n")


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        ("x" * 2_000_000, {}, 413),
        ("{}", {"Content_Type": "text/plain"}, 415),
        ("{", {}, 422),
        ("[1]", {}, 422),
        (json.dumps(ENTRIES | {"charge": "C9"}), {}, 422),
    ],
)
def test_what_is_not_an_entry_file_is_refused(lan, root, body, headers, status):
    before = (root / FILES["charge"]).read_bytes()
    try:
        answer, _ = hand(lan, paired(lan), body, **headers)
    except (BrokenPipeError, ConnectionResetError):
        assert status == 413  # the server closed the connection before all of it was sent
    else:
        assert answer.status == status
    assert (root / FILES["charge"]).read_bytes() == before


def test_refused_entries_are_named(root):
    more = json.loads(json.dumps(ENTRIES))
    more["entries"].append(
        {**more["entries"][0], "at": "2026-06-09T08:00:00-04:00", "masses": {"S9": "1 g"}}
    )
    status, words = receive(root, json.dumps(more).encode())
    assert status == 409
    assert words.startswith("Taken: 1 new, 0 there already. Not taken: ")
    assert "board 'S9'" in words


def sent_raw(server, text):
    """Return the server's whole answer to bytes that no library would send."""
    with socket.create_connection(("127.0.0.1", server.server_port), timeout=20) as line:
        line.sendall(text)
        line.shutdown(socket.SHUT_WR)
        return b"".join(iter(lambda: line.recv(65536), b""))


def test_the_body_of_a_refused_request_is_not_read_as_a_request(lan, root):
    """A page elsewhere may post any text, even one with headers that only our own page could send."""
    host = f"127.0.0.1:{lan.server.server_port}"
    own_headers = f"Host: {host}\r\nOrigin: http://{host}\r\nCookie: {paired(lan)}\r\n"
    body = json.dumps(ENTRIES)
    inner = (
        f"POST /_entries HTTP/1.1\r\n{own_headers}Content-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n{body}"
    )
    before = (root / FILES["charge"]).read_bytes()
    outer = (
        f"POST /_entries HTTP/1.1\r\nHost: {host}\r\nOrigin: https://evil.example\r\n"
        f"Content-Type: text/plain\r\nContent-Length: {len(inner)}\r\n\r\n{inner}"
    )
    said = sent_raw(lan.server, outer.encode())
    assert said.count(b"HTTP/1.1 ") == 1
    assert b"only for this server's own pages" in said
    assert (root / FILES["charge"]).read_bytes() == before


@pytest.mark.parametrize("length", ["²", "-1", "1" * 5_000, "0x10", "1_0"])
def test_an_invalid_content_length_is_refused_with_a_message(lan, length):
    host = f"127.0.0.1:{lan.server.server_port}"
    head = (
        f"POST /_pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
        f"Content-Length: {length}\r\n\r\n"
    )
    assert sent_raw(lan.server, head.encode("latin-1")).startswith(b"HTTP/1.1 411")


def test_one_address_can_hold_only_a_limited_number_of_connections(lan, monkeypatch):
    monkeypatch.setattr("kilnfolio.adopt.hand_over.CONNECTIONS", 3)
    place = ("127.0.0.1", lan.server.server_port)
    held = [socket.create_connection(place, timeout=20) for _ in range(3)]
    try:
        for line in held:  # each is answered, and keeps its connection open
            line.sendall(f"GET / HTTP/1.1\r\nHost: {place[0]}:{place[1]}\r\n\r\n".encode())
            assert line.recv(12) == b"HTTP/1.1 200"
        with socket.create_connection(place, timeout=20) as one_more:
            assert one_more.recv(1) == b""
    finally:
        for line in held:
            line.close()


def test_a_code_pairs_one_device_and_is_replaced_after_wrong_guesses(monkeypatch):
    pairing = Pairing()
    code = pairing.current()
    assert len(code) == 8
    assert pairing.pair("1234") == ""
    token = pairing.pair(code)
    assert len(token) >= 32
    assert pairing.knows(token)
    assert not pairing.knows("")
    assert pairing.pair(code) == ""
    code = pairing.current()
    for _ in range(hand_over.WRONG_CODES):
        assert pairing.pair("nonsense") == ""
    assert pairing.pair(code) == "" or pairing.current() != code
    monkeypatch.setattr(hand_over.time, "monotonic", lambda: 1e9)
    assert pairing.current() != code


def test_a_device_that_sends_too_much_is_told_to_wait(lan):
    cookie = paired(lan)
    for _ in range(hand_over.FILES):
        hand(lan, cookie, "{}")
    assert hand(lan, cookie)[0].status == 429
    for _ in range(hand_over.REQUESTS):
        last = ask(lan.server, "GET", "/", Cookie=cookie)[0].status
    assert last == 429


def test_a_certificate_encrypts_the_connection(root, tmp_path):
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "mill.example")])
    now = dt.datetime.now(dt.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now)
        .not_valid_after(now + dt.timedelta(days=1))
        .sign(key, hashes.SHA256())
    )
    files = tmp_path / "c.pem", tmp_path / "k.pem"
    files[0].write_bytes(made.public_bytes(serialization.Encoding.PEM))
    files[1].write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    lan = make_lan(root, PAGES.get, "127.0.0.1", 0, files)
    threading.Thread(target=lan.server.serve_forever, daemon=True).start()
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    connection = http.client.HTTPSConnection(
        "127.0.0.1", lan.server.server_port, timeout=20, context=context
    )
    host = f"127.0.0.1:{lan.server.server_port}"
    connection.request(
        "POST",
        "/_pair",
        f"code={lan.pairing.current()}",
        {"Host": host, "Origin": f"https://{host}"},
    )
    answer = connection.getresponse()
    assert answer.status == 303
    assert "; Secure" in answer.getheader("Set-Cookie")
    assert lan.address == f"https://{host}/"
    connection.close()
    lan.server.shutdown()
    lan.server.server_close()


class _Made:
    """A preview of pages that are already built."""

    def __init__(self, root):
        self.root = root

    def file(self, path):
        return PAGES.get(path)


def test_the_preview_takes_entries_only_from_its_own_page(root):
    server = make_server(_Made(root), 0)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    body, json_type = json.dumps(ENTRIES), "application/json"
    assert (
        with_mark(PAGES["kiln-side/C1.html"]).decode()
        == ask(server, "GET", "/kiln-side/C1.html")[1]
    )  # nothing reloads a page that is being filled in
    for headers in (
        {},
        {"Origin": "http://evil.example"},
        {"Origin": own(server), "Sec_Fetch_Site": "cross-site"},
    ):
        assert (
            ask(server, "POST", "/_entries", body, Content_Type=json_type, **headers)[0].status
            == 403
        )
    assert ask(server, "POST", "/_entries", body, Origin=own(server))[0].status == 413
    answer, words = ask(
        server, "POST", "/_entries", body, Origin=own(server), Content_Type=json_type
    )
    assert (answer.status, words) == (200, "Taken: 1 new, 0 there already.\n")
    assert masses(root) == {"S1": "2230 g"}
    server.shutdown()
    server.server_close()
