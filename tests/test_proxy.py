"""TLS in front, as the help page on running it shows: nginx with a certificate of its own, and what changes behind it."""

import os
import re
import shutil
import signal
import ssl
import subprocess
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from app.settings import ROOT
from seed_demo import PASSWORD
from tests.conftest import not_none
from tests.test_cli import free_port, started

NGINX = shutil.which("nginx") or ("/usr/sbin/nginx" if Path("/usr/sbin/nginx").exists() else None)
NEEDED = os.environ.get("SPANBOOK_NEEDS_BROWSER")


@pytest.fixture
def proxied(database_url: str, tmp_path: Path) -> Iterator[httpx.Client]:
    """The app behind nginx: the help page's own configuration, with only its ports, paths and process settings filled in."""
    if NGINX is None and not NEEDED:
        pytest.skip("no nginx here: install it (Debian: nginx-light)")
    port, secure = free_port(), free_port()
    written = not_none(re.search(r"```nginx\n(.*?)```", (ROOT / "templates/help/running.md").read_text(), re.S))[1]
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=shop.test", "-addext",
         "subjectAltName=DNS:shop.test,IP:127.0.0.1", "-keyout", str(tmp_path / "key.pem"), "-out", str(tmp_path / "cert.pem")],
        check=True, capture_output=True,
    )  # fmt: skip
    site = written.replace("listen 443 ssl", f"listen 127.0.0.1:{secure} ssl").replace(
        "127.0.0.1:8765", f"127.0.0.1:{port}"
    )
    site = site.replace("/etc/ssl/spanbook.pem", str(tmp_path / "cert.pem")).replace(
        "/etc/ssl/spanbook.key", str(tmp_path / "key.pem")
    )
    temporary = "".join(
        f"{kind}_temp_path {tmp_path}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    whole = (
        f"pid {tmp_path}/pid; error_log {tmp_path}/error.log; events {{}} http {{ access_log off; {temporary} {site} }}"
    )
    (tmp_path / "nginx.conf").write_text(whole)
    app = started(
        ["serve"],
        port,
        {"SPANBOOK_DATABASE_URL": database_url, "SPANBOOK_HOSTS": "shop.test", "SPANBOOK_BACKUP_HOURS": "0"},
    )
    proxy = subprocess.Popen(
        [not_none(NGINX), "-c", str(tmp_path / "nginx.conf"), "-g", "daemon off;"], stderr=subprocess.DEVNULL
    )
    trusted = ssl.create_default_context(cafile=str(tmp_path / "cert.pem"))
    with httpx.Client(base_url=f"https://127.0.0.1:{secure}", verify=trusted, timeout=10) as http:
        for _ in range(100):
            try:
                http.get("/healthz")
                break
            except httpx.TransportError:
                signal.sigtimedwait([], 0.05)
        yield http
    proxy.terminate()
    proxy.wait(10)
    app.send_signal(signal.SIGINT)
    app.communicate(timeout=15)


def test_behind_tls_cookies_are_secure_and_forms_count_only_from_our_own_https_pages(proxied: httpx.Client) -> None:
    address = str(proxied.base_url).rstrip("/")
    typed = {"sign_in_name": "tb", "password": PASSWORD}
    plain = address.replace("https://", "http://")
    assert proxied.post("/sign-in", data=typed, headers={"origin": plain}).status_code == 403
    answer = proxied.post("/sign-in", data=typed, headers={"origin": address})
    assert answer.status_code == 303
    assert answer.headers["set-cookie"].startswith("__Host-spanbook=")
    assert "Secure" in answer.headers["set-cookie"]
    assert answer.headers["strict-transport-security"]
    assert "/bowlers/1" in proxied.get("/?q=jonson").text
    form = {"name": "Behind Tls", "hand": "right", "who": "2"}
    assert proxied.post("/bowlers", data=form, headers={"origin": address}).status_code == 303


def test_behind_a_proxy_nobody_sets_the_shop_up(proxied: httpx.Client) -> None:
    assert (
        proxied.get("/setup").headers["location"] == "/"
    )  # set up already; and an address passed on is never loopback
    lied = proxied.get("/setup", headers={"x-forwarded-for": "127.0.0.1"})
    assert lied.status_code == 303


def test_a_stream_of_events_comes_through_a_proxy_at_once(proxied: httpx.Client) -> None:
    address = str(proxied.base_url).rstrip("/")
    proxied.post("/sign-in", data={"sign_in_name": "tb", "password": PASSWORD}, headers={"origin": address})
    with proxied.stream("GET", "/board/events", headers={"accept": "text/event-stream"}) as answer:
        lines = answer.iter_lines()
        first = [next(lines) for _ in range(4)]
        assert first == ["retry: 1000", first[1], "data: board", ""]
        typed = {"name": "Through Proxy", "hand": "right", "who": "2"}
        assert proxied.post("/bowlers", data=typed, headers={"origin": address}).status_code == 303
        after = [next(lines) for _ in range(4)]
    assert int(after[1].removeprefix("id: ")) > int(first[1].removeprefix("id: "))
