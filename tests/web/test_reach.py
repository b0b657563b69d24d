"""The network: off unless it is asked for, told with a QR code, with TLS by the person's own certificate."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import socket
import ssl
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest
from support import qr
from support.bench import RunningBench
from support.needs import program
from support.site import SENSOR, Site, Visitor

from uvdose.web.addresses import Address, addresses
from uvdose.web.codes import ALPHABET
from uvdose.web.qr import qr_lines

ROOT = Path(__file__).parents[2]
OWN_CERTIFICATE = "tls_cert = 'tls/server.pem'\ntls_key = 'tls/server.key'\nname = 'bindery'\n"
URL = re.compile(rf"https?://[\w.:-]+/pair#[{ALPHABET}]{{4}}-[{ALPHABET}]{{4}}")


def settle(home: Path, web: str = "lan_port = 0\n") -> Path:
    home.mkdir()
    (home / "uvdose.toml").write_text(f"[web]\nlisten = '127.0.0.1:0'\n{web}{SENSOR}", encoding="utf-8")
    return home


def on_terminal(home: Path, *words: str, until: str, **env: str) -> str:
    """What a command prints on a terminal, up to a word; then it is ended."""
    child, end = pty.openpty()
    argv = [sys.executable, "-m", "uvdose", *words, "--home", str(home)]
    running = subprocess.Popen(
        argv, stdin=end, stdout=end, stderr=end, env={**os.environ, "TERM": "xterm-256color", **env}, cwd=ROOT
    )
    os.close(end)
    seen = b""
    deadline = time.monotonic() + 20
    try:
        while until.encode() not in seen:
            assert time.monotonic() < deadline, seen.decode()
            if select.select([child], [], [], 0.2)[0]:
                try:
                    seen += os.read(child, 65536)
                except OSError:
                    break
    finally:
        if running.poll() is None:
            running.send_signal(signal.SIGTERM)
        running.wait(15)
        os.close(child)
    return seen.decode()


def test_the_network_is_off_unless_it_is_asked_for(home: Path) -> None:
    with RunningBench(home, SENSOR) as bench:
        port = int(bench.url.rpartition(":")[2])
        listening = [
            line.split() for name in ("tcp", "tcp6") for line in Path(f"/proc/net/{name}").read_text().splitlines()[1:]
        ]
        own = {line[1] for line in listening if line[3] == "0A" and int(line[1].rpartition(":")[2], 16) == port}
        assert own == {f"0100007F:{port:04X}"}, "one socket, of 127.0.0.1"
        visitor = Visitor(port)
        code = bench.ask("POST", "/phones/code", {})
        assert code["lan"] is False and code["urls"] == [f"http://127.0.0.1:{port}/pair#{code['code']}"]
        assert visitor.pair(code["code"]).status == 200, "the page can be used on this machine"
        assert visitor.ask("GET", "/api/v1/status").status == 200


@pytest.mark.parametrize(
    "listen", ["0.0.0.0:8463", "192.168.1.7:8463", "[::]:8463", "bench.example:8463", "127.0.0.1.x.example:1"]
)
def test_no_address_of_the_network_is_taken_as_local(tmp_path: Path, listen: str) -> None:
    home = tmp_path / "h"
    home.mkdir()
    (home / "uvdose.toml").write_text(f"[web]\nlisten = '{listen}'\n{SENSOR}", encoding="utf-8")
    told = run(home, "serve")
    assert told.returncode == 4 and "web.listen" in told.stderr and "lan = true" in told.stderr, told


def run(home: Path, *words: str, **env: str) -> subprocess.CompletedProcess[str]:
    argv = [sys.executable, "-m", "uvdose", *words, "--home", str(home)]
    return subprocess.run(argv, capture_output=True, text=True, timeout=60, env=os.environ | env,
                          cwd=ROOT)  # fmt: skip


@pytest.mark.parametrize(("words", "said"), [
    (("serve", "--lan", "--port", "70000"), "--port 70000"), (("serve", "--lan", "--port", "-1"), "--port -1"),
    (("serve", "--lan", "--name", "a b"), "--name 'a b'"), (("serve", "--lan", "--name", "x.local"), "--name"),
    (("serve", "--port", "8465"), "say --lan"), (("serve", "--name", "bindery"), "say --lan"),
    (("phone", "pair", "--name", "12"), "--name '12'"), (("phone", "revoke"), "--all"),
    (("phone", "revoke", "a", "--all"), "--all"),
])  # fmt: skip
def test_a_wrong_call_is_told_in_one_line(home: Path, words: tuple[str, ...], said: str) -> None:
    told = run(settle(home), *words)
    assert told.returncode == 2 and said in told.stderr and told.stderr.count("\n") == 1, told


@pytest.mark.parametrize(("web", "said"), [
    ("lan_port = 70000\n", "web.lan_port"), ("name = 'a_b'\n", "web.name"), ("hosts = ['http://x']\n", "web.hosts"),
    ("tls_cert = 'a.pem'\n", "web.tls_key"), ("lan = true\ntls_cert = 'no.pem'\ntls_key = 'no.key'\n", "no.pem"),
    ("lan = true\ntls_cert = '~nobody-of-that-name/a'\ntls_key = 'b'\n", "cannot be read"),
    ("lan = true\ntls_cert = 'uvdose.toml'\ntls_key = 'uvdose.toml'\n", "PEM"),
])  # fmt: skip
def test_wrong_settings_are_told_in_one_line(home: Path, web: str, said: str) -> None:
    told = run(settle(home, web), "serve")
    assert told.returncode == 4 and said in told.stderr and told.stderr.count("\n") == 1, told


@pytest.mark.parametrize(("env", "drawn"), [({}, 1), ({"NO_COLOR": "1"}, 0)])
def test_serve_shows_a_code_on_a_terminal(home: Path, env: dict[str, str], drawn: int) -> None:
    seen = on_terminal(settle(home), "serve", "--lan", until="good for 10 minutes", **env)
    assert seen.startswith("ready http://127.0.0.1:")
    printed = URL.findall(seen)
    assert printed and qr.read(qr.modules(qr.code_lines(seen), drawn)) == printed[0]
    told = {f"{a.ip}" for a in addresses() if a.real} or {"127.0.0.1"}
    assert {u.split("//")[1].split(":")[0] for u in printed} == told
    assert ("\x1b[" in seen) == bool(drawn)
    assert "uvdose phone ca" in seen, "that others can read along is said"


def test_any_free_port_is_told_as_the_one_that_it_is(home: Path) -> None:
    """By --port 0 and by the settings; before there is one, `phone ca` names none."""
    seen = on_terminal(settle(home, ""), "serve", "--lan", "--port", "0", until="good for 10 minutes")
    ports = {int(port) for port in re.findall(r"on the network http://[\w.]+:(\d+)", seen)}
    assert len(ports) == 1 and ports.isdisjoint({0, 8465}), seen
    (home / "uvdose.toml").write_text(f"[web]\nlan_port = 0\n{SENSOR}", encoding="utf-8")
    made = run(home, "phone", "ca")
    assert ":PORT/ca.crt" in made.stdout and ":0/" not in made.stdout


def test_serve_leaves_no_code_in_a_log(home: Path) -> None:
    with Site(home) as site:
        site.wait_line("`uvdose phone pair", 10)
        assert not URL.search("\n".join(site.said)) and "█" not in "".join(site.said)


@pytest.mark.parametrize(
    "text", ["http://10.0.0.7:8465/pair#K7QF-2MXP", "https://a-long-name-for-a-bench.local:8465/pair#K7QF-2MXP"]
)
def test_a_code_reads_as_what_it_says(text: str) -> None:
    for colour in (True, False):
        lines = qr_lines(text, colour)
        assert len({len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in lines}) == 1
        assert qr.read(qr.modules(qr.code_lines("\n".join(lines)), int(colour))) == text
    assert len(lines) <= 20, "it fits a terminal of 24 lines"


def test_the_commands_work_with_and_without_a_daemon(home: Path) -> None:
    with Site(home) as site:
        made = json.loads(site.run("phone", "pair", "--name", "anna", "--json").stdout)
        assert made["role"] == "act" and made["lan"] is True and made["valid_s"] == 600
        assert site.visitor().pair(made["code"]).json["name"] == "anna"
        shown = site.run("phone", "pair", "--view")
        urls = URL.findall(shown.stdout)
        assert qr.read(qr.modules(qr.code_lines(shown.stdout), 0)) == urls[0]
        assert "may look, not act" in shown.stdout and shown.stderr == ""
        for name in ("ben", "cleo"):
            site.visitor().pair(urls[0].partition("#")[2], name)
        listed = site.run("phone", "list").stdout.splitlines()
        assert re.fullmatch(r"1 +anna +may act +\d{4}-\d\d-\d\d \d\d:\d\d:\d\d +-", listed[1]), listed
        kept = site.phone(name="kept")
    alone = run(home, "phone", "list", "--json")
    assert [p["name"] for p in json.loads(alone.stdout)] == ["anna", "ben", "cleo", "kept"]
    assert run(home, "phone", "pair").returncode == 3
    assert run(home, "phone", "revoke", "2").stdout == "phone 2, ben: taken out\n"
    nobody = run(home, "phone", "revoke", "ben")
    assert nobody.returncode == 4 and "no phone 'ben'" in nobody.stderr
    with Site(home) as site:
        kept.port = site.network_port
        assert kept.ask("GET", "/api/v1/me").json["name"] == "kept", "a restart keeps phones paired"
        assert site.run("phone", "revoke", "--all").stdout.count("taken out") == 3
        assert kept.ask("GET", "/api/v1/me").status == 401
    assert run(home, "phone", "revoke", "--all").stdout == "no phone was paired\n"
    assert "no phone is paired" in run(home, "phone", "list").stdout


def test_a_home_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    assert run(tmp_path / "none", "phone", "list").returncode == 0
    assert run(tmp_path / "none", "phone", "revoke", "a").returncode == 4
    assert not (tmp_path / "none").exists()


def test_tls_with_a_ca_of_the_homes_own(home: Path) -> None:
    program("openssl")
    made = run(settle(home, "name = 'bindery'\n"), "phone", "ca")
    assert made.returncode == 0, made
    for word in ("tls_cert", "Android", "iPhone", "awake", "fingerprint", "bindery.local"):
        assert word in made.stdout, word
    for name in ("ca.key", "ca.pem", "server.key", "server.pem"):
        assert stat.S_IMODE((home / "tls" / name).stat().st_mode) == 0o600
    assert sorted(p.name for p in (home / "tls").iterdir()) == ["ca.key", "ca.pem", "server.key", "server.pem"]
    ca = (home / "tls" / "ca.pem").read_bytes()
    (home / "uvdose.toml").unlink()
    trusting = ssl.create_default_context(cafile=str(home / "tls" / "ca.pem"))
    with Site(home, OWN_CERTIFICATE) as site:
        assert "on the network https://" in "\n".join(site.said)
        phone = site.visitor(tls=trusting)
        answer = phone.pair(site.code())
        assert answer.status == 200 and "secure" in answer.headers["set-cookie"].lower()
        assert phone.ask("GET", "/api/v1/status").status == 200
        assert phone.ask("POST", "/api/v1/quiet", {}, Origin=phone.origin.replace("https", "http")).status == 403
        told = phone.ask("GET", "/ca.crt")
        assert told.data == ca and told.headers["content-type"] == "application/x-x509-ca-cert"
        with socket.create_connection(("127.0.0.1", site.network_port)) as sock, trusting.wrap_socket(
            sock, server_hostname="bindery.local"
        ) as secured:
            assert secured.version() in ("TLSv1.2", "TLSv1.3")
        for a in addresses():
            with socket.create_connection((a.ip, site.network_port), timeout=10) as sock:
                trusting.wrap_socket(sock, server_hostname=a.ip).close()
        with pytest.raises(ssl.SSLCertVerificationError):
            site.visitor(tls=ssl.create_default_context()).connect()
        old = ssl.create_default_context(cafile=str(home / "tls" / "ca.pem"))
        old.minimum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
        with pytest.warns(DeprecationWarning):
            old.maximum_version = ssl.TLSVersion.TLSv1_1
        with pytest.raises(OSError):
            site.visitor(tls=old).connect()
        plain = Visitor(site.network_port).raw(b"GET /pair HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert b"200" not in plain
        assert site.ask("GET", "/status")["bench"] == "bindery", "the commands' own address stays plain, and local"
    again = run(home, "phone", "ca")
    assert "certificate made" in again.stdout and "Android" not in again.stdout
    assert (home / "tls" / "ca.pem").read_bytes() == ca, "a phone that trusts it need not trust anew"
    assert "Android" in run(home, "phone", "ca", "--new-ca").stdout and (home / "tls" / "ca.pem").read_bytes() != ca


def test_the_ca_vouches_for_this_bench_and_not_for_the_world(home: Path, tmp_path: Path) -> None:
    openssl = program("openssl")
    assert run(settle(home), "phone", "ca").returncode == 0
    tls = home / "tls"

    def vouches(name: str) -> bool:
        (tmp_path / "names").write_text(f"subjectAltName={name}\n")
        for words in (
            ("req", "-new", "-key", f"{tls}/server.key", "-subj", "/CN=x", "-out", f"{tmp_path}/csr"),
            ("x509", "-req", "-in", f"{tmp_path}/csr", "-CA", f"{tls}/ca.pem", "-CAkey", f"{tls}/ca.key", "-set_serial",
             "7", "-extfile", f"{tmp_path}/names", "-out", f"{tmp_path}/pem"),
        ):  # fmt: skip
            subprocess.run([openssl, *words], check=True, capture_output=True)
        told = subprocess.run([openssl, "verify", "-CAfile", f"{tls}/ca.pem", f"{tmp_path}/pem"], capture_output=True)
        return told.returncode == 0

    assert vouches("IP:192.168.7.7") and vouches("DNS:bindery.local")
    assert not vouches("DNS:bank.example") and not vouches("IP:8.8.8.8") and not vouches("DNS:bank.example.com")


def test_without_openssl_it_says_what_to_install(home: Path) -> None:
    told = run(settle(home), "phone", "ca", PATH="/nonexistent")
    assert told.returncode == 4 and "apt install openssl" in told.stderr and told.stderr.count("\n") == 1


def test_a_name_without_what_announces_it_is_told(home: Path, tmp_path: Path) -> None:
    """A module that cannot be imported stands in for one that is not installed."""
    (tmp_path / "zeroconf").mkdir()
    (tmp_path / "zeroconf" / "__init__.py").write_text("raise ImportError('not here')\n")
    site = Site(home, "name = 'bindery'")
    site.env["PYTHONPATH"] = f"{tmp_path}:{site.env['PYTHONPATH']}"
    with site:
        assert any("bindery.local is not announced: `pip install 'uvdose[mdns]'`" in line for line in site.said)
        answer = site.visitor().ask("GET", "/pair", Host=f"bindery.local:{site.network_port}")
        assert answer.status == 200, "whoever announces it by other means reaches it"


def test_addresses_are_this_machines() -> None:
    for a in addresses():
        assert isinstance(a, Address) and not a.ip.startswith("127.")
        with socket.socket() as probe:
            probe.bind((a.ip, 0))
