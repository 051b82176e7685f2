"""The laboratory's own proxy before the real server: the example file, TLS, a large upload."""

from __future__ import annotations

import http.client
import json
import os
import re
import ssl
import subprocess
import urllib.parse
from collections.abc import Iterator
from http.cookies import SimpleCookie
from pathlib import Path

import pytest

from tests.installation import ROOT, Installation, free_port, wait_for
from tests.services import NGINX

pytestmark = [pytest.mark.nginx]
# Started by root, nginx would serve as someone who may not enter the test's folder.
USER = "user root;" if os.geteuid() == 0 else ""
PASSWORD = "forty-two heavy girders"
MAKE_CERTIFICATE = (
    *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
    *("-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"),
)
AROUND = """
{user} daemon off; pid {home}/nginx.pid; error_log {home}/error.log warn; worker_processes 1;
events {{ worker_connections 64; }}
http {{
  include /etc/nginx/mime.types; access_log off;
  client_body_temp_path {home}/body; proxy_temp_path {home}/proxied; fastcgi_temp_path {home}/f;
  uwsgi_temp_path {home}/u; scgi_temp_path {home}/s;
{site}
}}
"""


class Served:
    """An installation behind nginx with a certificate of its own making."""

    def __init__(self, home: Path) -> None:
        self.plain, self.tls = free_port(), free_port()
        self.home = home
        self.proxy: subprocess.Popen[bytes] | None = None
        self.inside = Installation(
            home / "inside",
            STRONGFLOOR_PUBLIC_URL=f"https://localhost:{self.tls}",
            STRONGFLOOR_SECRET_KEY="a-key-of-this-test-alone-" + "0123456789abcdefghijklm",
            STRONGFLOOR_TRUSTED_PROXIES="127.0.0.1",
            STRONGFLOOR_LEAD_PASSWORD=PASSWORD,
        )

    def begin(self) -> None:
        self.inside.migrate()
        done = self.inside.manage("setup", "--name", "Test", "--zone", "UTC", "--lead", "ada")
        assert done.returncode == 0, done.stderr
        self.inside.up()
        key, certificate = self.home / "floor.key", self.home / "floor.pem"
        subprocess.run(
            [*MAKE_CERTIFICATE, "-keyout", str(key), "-out", str(certificate)],
            check=True,
            capture_output=True,
        )
        config = self.home / "nginx.conf"
        config.write_text(
            AROUND.format(user=USER, home=self.home, site=self.site(key, certificate))
        )
        proxy = self.proxy = self.inside.start(NGINX, "-c", str(config), "-p", str(self.home))
        wait_for(lambda: self.ask("/health/").status == 200 or proxy.poll() is not None, "nginx")
        assert proxy.poll() is None, self.inside.said()

    def end(self) -> None:
        # The proxy writes its title over its environment, by which the others are found.
        if self.proxy is not None:
            self.proxy.terminate()
            self.proxy.wait(30)
        self.inside.end()

    def site(self, key: Path, certificate: Path) -> str:
        """The example, with nothing but its places filled in."""
        text = (ROOT / "nginx.conf.example").read_text(encoding="utf-8")
        for place, value in (
            ("/etc/ssl/certs/<floor.example>.pem", certificate),
            ("/etc/ssl/private/<floor.example>.key", key),
            ("<floor.example>", "localhost"),
            ("listen 80;", f"listen 127.0.0.1:{self.plain};"),
            ("listen 443 ssl;", f"listen 127.0.0.1:{self.tls} ssl;"),
            ("server 127.0.0.1:8000;", f"server 127.0.0.1:{self.inside.port};"),
            ("/var/cache/nginx/strongfloor", self.home / "cache"),
            ("https://$host$request_uri", f"https://$host:{self.tls}$request_uri"),
        ):
            assert place in text, place
            text = text.replace(place, str(value))
        # Where the port is not 443, the Host header that the server checks carries it.
        return text.replace("Host $host;", "Host $http_host;")

    def ask(
        self,
        path: str,
        body: bytes | None = None,
        headers: dict[str, str] | None = None,
        *,
        plain: bool = False,
    ) -> http.client.HTTPResponse:
        """One request; the answer's body is in ``.text``."""
        if plain:
            line: http.client.HTTPConnection = http.client.HTTPConnection("localhost", self.plain)
        else:
            trust = ssl.create_default_context(cafile=str(self.home / "floor.pem"))
            line = http.client.HTTPSConnection("localhost", self.tls, context=trust, timeout=60)
        try:
            line.request("POST" if body is not None else "GET", path, body, headers or {})
            answer = line.getresponse()
            answer.text = answer.read().decode("utf-8", "replace")  # type: ignore[attr-defined]
        except OSError:
            answer = http.client.HTTPResponse.__new__(http.client.HTTPResponse)
            answer.status = 0
        finally:
            line.close()
        return answer


def cookies_of(answer) -> dict[str, SimpleCookie]:
    found = SimpleCookie()
    for line in answer.headers.get_all("Set-Cookie") or []:
        found.load(line)
    return dict(found)


@pytest.fixture(scope="module")
def served(tmp_path_factory) -> Iterator[Served]:
    made = Served(tmp_path_factory.mktemp("proxy"))
    try:
        made.begin()
        yield made
    finally:
        made.end()


def signed_in(served: Served) -> tuple[dict[str, str], dict]:
    page = served.ask("/sign-in/")
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.text)[1]
    first = {name: morsel.value for name, morsel in cookies_of(page).items()}
    origin = f"https://localhost:{served.tls}"
    headers = {
        "Cookie": "; ".join(f"{k}={v}" for k, v in first.items()),
        "Content-Type": "application/x-www-form-urlencoded",
        "Referer": f"{origin}/sign-in/",
        "Origin": origin,
    }
    form = {"username": "ada", "password": PASSWORD, "csrfmiddlewaretoken": token}
    answer = served.ask("/sign-in/", urllib.parse.urlencode(form).encode(), headers)
    assert answer.status == 302, answer.text
    return {**first, **{n: m.value for n, m in cookies_of(answer).items()}}, cookies_of(answer)


def test_plain_http_leads_to_https_and_health_is_reached_by_both(served):
    answer = served.ask("/people/", plain=True)
    assert answer.status == 301
    assert answer.headers["Location"] == f"https://localhost:{served.tls}/people/"
    for plain in (True, False):
        assert served.ask("/health/", plain=plain).status == 200
        assert json.loads(served.ask("/ready/", plain=plain).text)["status"] == "ok"


def test_readiness_hears_the_workers_within_a_while(served):
    wait_for(lambda: served.ask("/ready/?workers").status == 200, "both workers are heard")
    parts = json.loads(served.ask("/ready/?workers").text)["parts"]
    assert set(parts) == {"database", "broker", "short worker", "long worker"}


def test_one_signs_in_over_https_with_secure_cookies(served):
    cookies, set_cookies = signed_in(served)
    assert set_cookies["sessionid"]["secure"]
    assert set_cookies["sessionid"]["httponly"]
    assert set_cookies["csrftoken"]["secure"]
    page = served.ask("/people/", headers={"Cookie": f"sessionid={cookies['sessionid']}"})
    assert page.status == 200
    assert page.headers["Strict-Transport-Security"].startswith("max-age=31536000")
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]


def test_static_files_come_from_the_proxys_own_keep(served):
    for _ in range(2):
        answer = served.ask("/static/web/notebook.css")
    assert answer.status == 200
    assert answer.headers["X-Cache-Status"] == "HIT"
    assert "max-age=" in answer.headers["Cache-Control"]


def test_a_large_upload_passes_the_proxy(served):
    body = {"username": "ada", "password": PASSWORD}
    told = served.ask(
        "/api/token/", json.dumps(body).encode(), {"Content-Type": "application/json"}
    )
    token = json.loads(told.text)["token"]
    rows = b"".join(b"%d;%d\n" % (n, n) for n in range(3_000_000))
    assert len(rows) > 40 * 1024 * 1024  # above what the server takes in memory
    edge = "----edge"
    parts = b"".join(
        b'--%s\r\nContent-Disposition: form-data; name="%s"%s\r\n\r\n%s\r\n'
        % (edge.encode(), name, extra, value)
        for name, extra, value in (
            (b"subject", b"", b"NOT-THERE"),
            (b"test", b"", b"break"),
            (b"channels", b"", b"[]"),
            (b"file", b'; filename="long.csv"', rows),
        )
    )
    headers = {
        "Authorization": f"Token {token}",
        "Content-Type": f"multipart/form-data; boundary={edge}",
    }
    answer = served.ask("/api/records/", parts + f"--{edge}--\r\n".encode(), headers)
    # The whole of it came through: the server read the form and looked for the specimen.
    assert answer.status in (400, 404), answer.text
    assert set(json.loads(answer.text)) == {"code", "message", "facts"}


def test_the_lock_counts_the_askers_own_address(served):
    wrong = json.dumps({"username": "bo", "password": "wrong"}).encode()
    for n in range(9):
        headers = {"Content-Type": "application/json", "X-Forwarded-For": f"203.0.113.{n}"}
        answer = served.ask("/api/token/", wrong, headers)
    assert answer.status == 429
