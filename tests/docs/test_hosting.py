"""The guide's hosting recipe, run: nginx serves an edition with it, systemd accepts its units.

Both programs are Debian packages (nginx-light and systemd). If one is not installed, its test is
skipped.
"""

import contextlib
import re
import shutil
import socket
import subprocess
import time

import pytest
from tests.site.server import self_signed

from kilnfolio.site.pages.guide import guide_files
from kilnfolio.site.serving import compare

TEXT = next(page.text for page in guide_files() if page.slug == "publish")
NGINX = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin:/usr/local/sbin")
LOT = "q7yhm2kmgxw4t3zkq7yhm2kmgxw4t3zk"


def blocks(kind):
    return re.findall(rf"^```{kind}\n(.*?)^```$", TEXT, re.DOTALL | re.MULTILINE)


@pytest.fixture
def edition(tmp_path):
    home = tmp_path / "site/customer"
    for name in (
        f"{LOT}/index.html",
        f"{LOT}/record.json",
        "assets/site.css",
        "assets/page.js",
        "assets/a.woff2",
        f"{LOT}/record.pdf",
        "robots.txt",
    ):
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        (home / name).write_bytes(b"the bytes of " + name.encode())
    return home


@contextlib.contextmanager
def nginx(folder, root):
    """Run nginx with the guide's configuration; only names, folders and the port are changed."""
    certificate, key = self_signed(folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (text,) = blocks("nginx")
    for said, here in (
        ("listen 443 ssl", f"listen 127.0.0.1:{port} ssl"),
        ("records.mill.example", "localhost"),
        ("/srv/records", str(root)),
        ("/etc/ssl/certs/records.pem", str(certificate)),
        ("/etc/ssl/private/records.key", str(key)),
        ("/var/log/nginx/records.log", str(folder / "records.log")),
    ):
        assert text.count(said) == 1, said
        text = text.replace(said, here)
    temporary = "".join(
        f"{name}_temp_path {folder}/{name};"
        for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    (folder / "nginx.conf").write_text(
        f"daemon off; user root; pid {folder}/pid; error_log {folder}/error.log;\n"
        f"events {{}}\nhttp {{ access_log {folder}/access.log; {temporary}\n{text}}}\n"
    )
    with subprocess.Popen(
        [NGINX, "-p", folder, "-c", folder / "nginx.conf"], stderr=subprocess.PIPE
    ) as server:
        try:
            for _ in range(100):
                with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port)):
                    break
                assert server.poll() is None, server.stderr.read()
                time.sleep(0.05)
            yield f"https://localhost:{port}"
        finally:
            server.terminate()


@pytest.mark.skipif(not NGINX, reason="nginx is not installed")
def test_nginx_serves_an_edition_as_the_guide_sets_it_up(edition, tmp_path, monkeypatch):
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "cert.pem"))
    with nginx(tmp_path, edition) as address:
        assert compare(address, edition).differences == ()
        # the address of a lot is in no log, not even if its page no longer exists
        shutil.copytree(edition, tmp_path / "built")
        shutil.rmtree(edition / LOT)
        assert {one.what for one in compare(address, tmp_path / "built").differences} == {
            "the server answers 404 instead of 200"
        }
    logs = {path.name: path.read_text() for path in tmp_path.glob("*.log")}
    assert logs
    assert not [name for name, said in logs.items() if LOT in said]


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd is not installed")
def test_systemd_accepts_the_units_of_the_guide(tmp_path):
    service, timer = blocks("ini")
    (tmp_path / "kilnfolio.service").write_text(service)
    (tmp_path / "kilnfolio.timer").write_text(timer)
    said = subprocess.run(
        [
            "systemd-analyze",
            "verify",
            "--man=no",
            tmp_path / "kilnfolio.timer",
            tmp_path / "kilnfolio.service",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    ours = [line for line in said.stderr.splitlines() if "kilnfolio" in line]
    assert ours == []
    when = re.search(r"OnCalendar=(.+)", timer)[1]
    calendar = subprocess.run(
        ["systemd-analyze", "calendar", when], capture_output=True, text=True, check=True
    ).stdout
    assert "Normalized form: Mon *-*-* 05:30:00" in calendar
