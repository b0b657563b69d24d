"""What is not plainly meant for the daemon goes no further, over real sockets."""

from __future__ import annotations

import contextlib
import re
import socket
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from support.site import Site, Visitor, everything

from uvdose.web.addresses import Address, Hosts
from uvdose.web.gate import BODY_S
from uvdose.web.server import HEAD_S, MOST_FROM_ONE

STATE = "/api/v1/status"


def no_exposure(site: Site) -> bool:
    return site.ask("GET", "/status")["exposures"] == []


@pytest.mark.parametrize("host", [
    "evil.example", "evil.example:8465", "127.0.0.1.evil.example", "localhost.evil.example",
    "bindery.local.evil.example", "", " ", "[::ffff:127.0.0.1", "127.0.0.1@evil.example", "127.0.0.1:80:80",
    "0x7f.1", "2130706433",
    "0.0.0.0", "[::]",
])  # fmt: skip
def test_a_name_that_was_made_to_point_here_is_not_served(site: Site, host: str) -> None:
    phone = site.phone()
    for path in (STATE, "/pair", "/static/pair.js", "/nothing"):
        answer = phone.ask("GET", path, Host=host)
        assert answer.status == 421 and b"bindery" not in answer.data, answer
    rebound = phone.ask("POST", "/api/v1/quiet", {}, Host=host, Origin=f"http://{host}")
    assert rebound.status == 421


def test_two_hosts_or_none_are_no_request(site: Site) -> None:
    told = site.visitor().raw(b"GET /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: evil.example\r\n\r\n")
    assert told.startswith(b"HTTP/1.1 400")
    assert site.visitor().raw(b"GET /pair HTTP/1.1\r\n\r\n").startswith(b"HTTP/1.1 400")
    assert b" 421 " in site.visitor().raw(b"GET /pair HTTP/1.0\r\n\r\n").splitlines()[0]
    claimed = {"X_Forwarded_Host": "127.0.0.1", "Forwarded": "host=127.0.0.1"}
    forwarded = site.visitor().ask("GET", "/pair", Host="evil.example", **claimed)
    assert forwarded.status == 421


def test_names_that_are_served() -> None:
    hosts = Hosts(["bindery.local", "Uv.Example"], lambda: [Address("wlan0", "10.0.0.7", True)])
    for host in ("127.0.0.1:8465", "localhost", "[::1]:8", "10.0.0.7:8465", "bindery.local", "BINDERY.local.:1",
                 "uv.example"):  # fmt: skip
        assert hosts.serves(host, inside=False), host
    assert not hosts.serves("10.0.0.8", inside=False)
    assert not hosts.serves("10.0.0.7", inside=True), "nobody can come by that name to the socket of this machine"
    assert hosts.serves("localhost:8463", inside=True)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://{own}", "http://127.0.0.1", "http://127.0.0.1:1",
                                    "http://{own}.evil.example", "http://{own}/", "", "file://"])  # fmt: skip
def test_an_act_from_a_foreign_page_is_refused(site: Site, origin: str) -> None:
    phone = site.phone()
    told = origin.replace("{own}", f"127.0.0.1:{phone.port}")
    acts = (("/api/v1/exposures", {"target": "blue"}), ("/api/v1/quiet", {}), ("/api/v1/pair", {"code": "x"}))
    for path, body in acts:
        answer = phone.ask("POST", path, body, Origin=told)
        assert answer.status == 403 and "own page" in answer.refused, (told, answer)
        assert "access-control-allow-origin" not in answer.headers
    assert no_exposure(site)


def test_what_a_browser_says_of_a_foreign_page_is_heard(site: Site) -> None:
    phone = site.phone()
    for where in ("cross-site", "same-site"):
        assert phone.ask("POST", "/api/v1/quiet", {}, Origin=None, Sec_Fetch_Site=where).status == 403
    assert phone.ask("POST", "/api/v1/quiet", {}, Sec_Fetch_Site="same-origin").status == 409, "no call is on"


@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "text/json"]
)
def test_what_a_form_can_send_is_refused(site: Site, kind: str | None) -> None:
    phone = site.phone()
    answer = phone.ask("POST", "/api/v1/exposures", b'{"target": "blue"}', Content_Type=kind, Origin=None)
    assert answer.status == 415 and no_exposure(site)


def test_a_packed_body_is_refused(site: Site) -> None:
    assert site.phone().ask("POST", "/api/v1/quiet", b"\x1f\x8b", Content_Encoding="gzip").status == 415


@pytest.mark.parametrize("method", ["GET", "HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "post"])
def test_only_post_acts(site: Site, method: str) -> None:
    phone = site.phone()
    for path in ("/api/v1/exposures", "/api/v1/exposures/1/finish", "/api/v1/quiet", "/api/v1/notes", "/api/v1/pair"):
        answer = phone.ask(method, path, {"target": "blue"} if method not in ("HEAD", "GET") else None)
        assert answer.status in (400, 404, 405), (method, path, answer)
    for key in ("_method", "method"):
        tricked = phone.ask("GET", f"/api/v1/exposures?{key}=POST&target=blue", X_HTTP_Method_Override="POST")
        assert tricked.status == 405
    assert no_exposure(site)


def test_a_huge_body_is_refused_before_it_is_taken_in(site: Site) -> None:
    phone = site.phone()
    said = phone.ask("POST", "/api/v1/exposures", b" " * 70_000)
    assert said.status == 413 and "larger than 65536" in said.refused
    head = f"POST /api/v1/exposures HTTP/1.1\r\nHost: 127.0.0.1:{phone.port}\r\nContent-Type: application/json\r\n"
    told = phone.raw((head + "Content-Length: 99999999999999999999\r\n\r\n").encode())
    assert b" 413 " in told.splitlines()[0]
    chunks = b"Transfer-Encoding: chunked\r\n\r\n" + b"4000\r\n" + b" " * 0x4000 + b"\r\n"
    told = phone.raw(head.encode() + chunks + (b"4000\r\n" + b" " * 0x4000 + b"\r\n") * 5 + b"0\r\n\r\n")
    assert b" 413 " in told.splitlines()[0]
    assert no_exposure(site)


def test_a_long_head_and_a_long_address_are_refused(site: Site) -> None:
    assert site.visitor().ask("GET", "/" + "a" * 3000).status == 414
    host = f"Host: 127.0.0.1:{site.network_port}\r\n"
    told = site.visitor().raw(f"GET / HTTP/1.1\r\n{host}{'X: ' + 'y' * 100_000}\r\n\r\n".encode())
    assert told == b"" or told.startswith((b"HTTP/1.1 400", b"HTTP/1.1 431")), told[:80]
    assert site.phone().ask("GET", STATE, X_Filler="y" * 20_000).status in (400, 431)


def test_smuggled_requests_are_none(site: Site) -> None:
    phone = site.phone()
    head = (f"POST /api/v1/quiet HTTP/1.1\r\nHost: 127.0.0.1:{phone.port}\r\nCookie: {phone.cookie}\r\n"
            "Content-Type: application/json\r\n")  # fmt: skip
    inner = f"POST /api/v1/exposures HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {phone.cookie}\r\nContent-Length: 0\r\n\r\n"
    for lengths in ("Content-Length: 2\r\nContent-Length: 200\r\n",
                    "Content-Length: 2\r\nTransfer-Encoding: chunked\r\n",
                    "Content-Length: -1\r\n", "Transfer-Encoding: xchunked\r\n"):  # fmt: skip
        phone.raw((head + lengths + "\r\n{}" + inner).encode())
    assert no_exposure(site)


def test_slow_requests_are_cut(site: Site) -> None:
    """Head and body dripped byte by byte, and a connection that says nothing: at once, since each takes its bound."""
    head = f"POST /api/v1/pair HTTP/1.1\r\nHost: 127.0.0.1:{site.network_port}\r\nContent-Type: application/json\r\n"

    def drip(first: bytes, byte: bytes) -> tuple[float, bytes]:
        began = time.monotonic()
        told = b""
        with site.visitor().connect() as sock:
            sock.sendall(first)
            sock.settimeout(0.3)
            while time.monotonic() - began < 60:
                try:
                    part = sock.recv(4096)
                    told += part
                    if not part:
                        break
                    continue
                except TimeoutError:
                    pass
                except OSError:
                    break
                try:
                    sock.sendall(byte)
                except OSError:
                    break
        return time.monotonic() - began, told

    cases = [(head.encode(), b"X"), ((head + "Content-Length: 9000\r\n\r\n").encode(), b" "), (b"", b"")]
    with ThreadPoolExecutor(4) as pool:
        slow_head, slow_body, silent = pool.map(lambda case: drip(*case), cases)
        assert site.phone().ask("GET", STATE).status == 200, "others are served meanwhile"
    assert slow_head[0] >= HEAD_S - 1 and slow_head[0] < 50 and slow_head[1] == b""
    assert slow_body[0] >= BODY_S - 1 and slow_body[0] < 50 and b" 408 " in slow_body[1].splitlines()[0]
    assert silent[0] >= HEAD_S - 1 and silent[0] < 50


@pytest.mark.parametrize("path", [
    "/static/../pairing.py", "/static/%2e%2e/pairing.py", "/static/..%2fpairing.py", "/static/%2e%2e%2fpairing.py",
    "/static//etc/passwd", "/static/%2fetc%2fpasswd", "//etc/passwd", "/static/pair.js/../../pairing.py", "/static/",
    "/static", "/static/..", "/static/.", "/static/pair.js%00.html", "/static/..\\pairing.py",
    "/static/%5c..%5cpairing.py",
    "/static/%252e%252e%252fpairing.py", "/../phones.json", "/phones.json", "/runtime.json", "/static/__init__.py",
    "/static/....//pairing.py", "/%2e%2e/%2e%2e/phones.json", "/pair/../runtime.json", "/api/v1/../../runtime.json",
    "/ca.crt/../ca.key", "/tls/ca.key", "//api/v1/status", "/api/v1//status", "/api/v1/%73tatus/..", "/api/v1/status;a",
])  # fmt: skip
def test_no_path_leads_out(site: Site, path: str) -> None:
    answer = site.visitor().ask("GET", path)
    assert answer.status in (400, 401, 404), (path, answer)
    assert not re.search(rb"root:|import|token|PRIVATE|bindery", answer.data), answer


def test_every_answer_has_the_headers(site: Site) -> None:
    phone = site.phone()
    for path in (STATE, "/pair", "/static/pair.js", "/nothing", "/api/v1/exposures/1/hold"):
        for visitor in (phone, site.visitor()):
            headers = visitor.ask("GET", path).headers
            policy = headers["content-security-policy"]
            assert "default-src 'self'" in policy and "frame-ancestors 'none'" in policy
            assert "unsafe" not in policy and "*" not in policy and "http:" not in policy and "data:" not in policy
            assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "no-referrer"
            assert headers["cache-control"] == ("no-cache" if path.startswith(("/static/", "/pair")) else "no-store")
            assert "server" not in headers and "access-control-allow-origin" not in headers
    assert phone.ask("GET", "/pair", Host="evil.example").headers["x-content-type-options"] == "nosniff"


def test_one_address_holds_so_many_connections_and_no_more(site: Site) -> None:
    crowd = site.visitor()
    held = [crowd.connect() for _ in range(MOST_FROM_ONE + 20)]
    try:
        turned_away = 0
        for sock in held:
            sock.settimeout(0.05)
            try:
                turned_away += sock.recv(1) == b""
            except TimeoutError:
                pass
            except ConnectionResetError:
                turned_away += 1
        assert turned_away == 20
        assert site.phone().ask("GET", STATE).status == 200, "another address has its own"
    finally:
        for sock in held:
            sock.close()
    end = time.monotonic() + 10
    while True:  # room again when they have gone
        try:
            assert crowd.ask("GET", "/pair").status == 200
            break
        except (OSError, AssertionError):
            assert time.monotonic() < end
            time.sleep(0.1)


def test_a_flood_of_requests_is_told_to_wait(site: Site) -> None:
    flood = site.visitor()
    head = f"GET /pair HTTP/1.1\r\nHost: 127.0.0.1:{flood.port}\r\n\r\n".encode()
    statuses = []
    with flood.connect() as sock, sock.makefile("rb") as answers:
        for _ in range(4000):
            sock.sendall(head)
            status = int(answers.readline().split()[1])
            statuses.append(status)
            length = 0
            while (line := answers.readline()) not in (b"\r\n", b""):
                if line.lower().startswith(b"content-length:"):
                    length = int(line.split(b":")[1])
            told = answers.read(length)
            if status == 429:
                break
    assert statuses[-1] == 429 and b"wait" in told and told.count(b"\n") == 0, len(statuses)
    assert statuses.count(200) >= 100
    assert site.visitor().ask("GET", "/pair").status == 200, "another address has its own"


def test_small_answers_go_at_once(site: Site) -> None:
    """Head and body of an answer are two packets: the second must not wait for the first to be acknowledged."""
    for port in (site.network_port, site.inside_port):
        visitor = Visitor(port)
        head = f"GET /pair HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()
        took = []
        with visitor.connect() as sock:
            for _ in range(15):
                began = time.monotonic()
                sock.sendall(head)
                told = b""
                while not told.endswith(b"</html>\n"):
                    told += sock.recv(65536)
                took.append(time.monotonic() - began)
        # Each of them would take 40 ms and more; a loaded machine slows some, not the quickest of fifteen.
        assert min(took[1:]) < 0.035, took


def test_rubbish_gets_no_trace_and_leaves_the_daemon_well(site: Site) -> None:
    for data in (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\0" * 200, b"\0" * 5000, b"GET\r\n\r\n",
                 b"\r\n" * 500,
                 b"GET / HTTP/9.9\r\nHost: a\r\n\r\n", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
                 b"GET /\xff HTTP/1.1\r\nHost: a\r\n\r\n",
                 b"GET http://evil.example/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"):  # fmt: skip
        told = site.visitor().raw(data)
        assert b"Traceback" not in told and b".py" not in told, told
    asked = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Key": "a"}
    upgrade = site.visitor().ask("GET", "/api/v1/live", **asked)
    assert upgrade.status in (401, 404)
    assert site.ask("GET", "/status")["bench"] == "bindery"


def test_nothing_secret_is_said(site: Site, tmp_path: Path) -> None:
    """Tokens and codes, right ones and wrong ones, come in no line that the daemon prints."""
    phone = site.phone()
    code = site.code()
    phone.pair("WRNG-WRNG")
    site.visitor().ask("GET", "/api/v1/status", Cookie="uvdose_phone=guessed-token")
    said = "\n".join(site.said)
    assert phone.cookie is not None
    for secret in (phone.cookie.partition("=")[2], code, "WRNG", "guessed-token", site.token):
        assert secret not in said
    assert "on the network" in said


def test_a_connection_that_is_cut_leaves_nothing_behind(site: Site) -> None:
    phone = site.phone()
    for _ in range(5):
        sock = phone.connect()
        sock.sendall(f"POST /api/v1/exposures HTTP/1.1\r\nHost: 127.0.0.1\r\nCookie: {phone.cookie}\r\n"
                     "Content-Type: application/json\r\nContent-Length: 20\r\n\r\n{\"target\"".encode())  # fmt: skip
        sock.shutdown(socket.SHUT_WR)
        everything(sock)
        sock.close()
    assert no_exposure(site)
    assert not [line for line in site.said if "failed" in line]


def test_no_bytes_of_a_stranger_end_the_daemon(home: Path) -> None:
    """A body that breaks off into rubbish after the answer is out: an exception in a connection must stay in it."""
    with Site(home) as site:
        for port in (site.network_port, site.inside_port):
            host = f"Host: 127.0.0.1:{port}\r\n"
            chunked = f"{host}Transfer-Encoding: chunked\r\n\r\n"
            for first, then in (
                (f"GET /pair HTTP/1.1\r\n{chunked}", b"no chunk\r\n" * 9),
                (f"GET /pair HTTP/1.1\r\n{chunked}5\r\n", b"abcde--\r\n\xff\xff"),
                (f"GET /nothing HTTP/1.1\r\n{host}Content-Length: 9\r\n\r\n", b"1234567890\r\n\0\0\r\n\r\n"),
                (f"POST /api/v1/quiet HTTP/1.1\r\n{chunked}", b"zz\r\n"),
                (f"GET /pair HTTP/1.1\r\n{host}Expect: 100-continue\r\nContent-Length: 5\r\n\r\n", b"\0" * 90),
            ):
                with Visitor(port).connect() as sock:
                    sock.settimeout(1)
                    sock.sendall(first.encode())
                    with contextlib.suppress(OSError):
                        sock.recv(65536)
                    with contextlib.suppress(OSError):
                        sock.sendall(then)
                        while sock.recv(65536):
                            pass
                assert site.ask("GET", "/status")["bench"] == "bindery", first
        assert site.process is not None and site.process.poll() is None
        assert site.stop() == 0
