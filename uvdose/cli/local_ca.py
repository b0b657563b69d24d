"""A CA of this home alone, and a certificate for its daemon, made by the `openssl` command. Keys are this user's only.

The CA vouches for private addresses and `.local` names and for nothing else, so that whoever gets hold of its key could
not read along with the rest of what a phone does.
"""

from __future__ import annotations

import ipaddress
import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import NamedTuple

from ..config import Home, load_settings
from ..home import write_private
from ..model import Refusal
from ..web.addresses import Hosts, addresses

CA_DAYS = 3650
SERVER_DAYS = 397  # iOS takes no longer one than 825 days, other browsers than 398
OPENSSL_S = 60

_PRIVATE = ("10.0.0.0/255.0.0.0", "172.16.0.0/255.240.0.0", "192.168.0.0/255.255.0.0", "169.254.0.0/255.255.0.0",
            "127.0.0.0/255.0.0.0", "100.64.0.0/255.192.0.0")  # fmt: skip


class Made(NamedTuple):
    """What was made. names: what the certificate is for. fresh: the CA is new. fingerprint: the CA's SHA-256."""

    folder: Path
    names: list[str]
    fresh: bool
    fingerprint: str


def make_certificate(home: Home, new_ca: bool) -> Made:
    """A certificate for the daemon's names and addresses of now, by the home's CA, which is made if there is none.

    Raises `Refusal`.
    """
    openssl = shutil.which("openssl")
    if openssl is None:
        raise Refusal("the `openssl` command is missing: install it, on Debian with `apt install openssl`")
    web = load_settings(home).web
    given = [f"{web.name.lower()}.local"] if web.name else []
    hosts = ["localhost", *Hosts([*given, *web.hosts]).names]
    ips = ["127.0.0.1", *(a.ip for a in addresses())]
    names = [*(f"DNS:{n}" for n in hosts), *(f"IP:{ip}" for ip in ips)]
    folder = home.folder / "tls"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        fresh = new_ca or not ((folder / "ca.pem").exists() and (folder / "ca.key").exists())
        with tempfile.TemporaryDirectory(prefix="making-", dir=folder) as made:
            work = Path(made)
            if fresh:
                _make_ca(openssl, work, hosts, ips)
            else:
                for name in ("ca.pem", "ca.key"):
                    shutil.copyfile(folder / name, work / name)
            _make_server(openssl, work, names)
            for name in ("ca.key", "ca.pem", "server.key", "server.pem"):
                write_private(folder / name, (work / name).read_bytes())
            fingerprint = _run(openssl, work, "x509", "-in", "ca.pem", "-noout", "-fingerprint", "-sha256")
    except OSError as err:
        raise Refusal(f"{folder} cannot be written ({err.strerror}): make room there, or mend it") from None
    return Made(folder, hosts + ips, fresh, fingerprint.strip().rpartition("=")[2])


def _make_ca(openssl: str, work: Path, hosts: list[str], ips: list[str]) -> None:
    private = [ip for ip in ips if not ipaddress.ip_address(ip).is_loopback]
    permitted = [
        "DNS:local", "DNS:localhost", *(f"DNS:{h}" for h in hosts if not h.endswith(".local") and h != "localhost"),
        *(f"IP:{net}" for net in _PRIVATE), *(f"IP:{ip}/255.255.255.255" for ip in private),
    ]  # fmt: skip
    (work / "ca.cnf").write_text(
        "[req]\ndistinguished_name=dn\nprompt=no\nx509_extensions=ca\n[dn]\nCN=uvdose on this bench\n[ca]\n"
        "basicConstraints=critical,CA:TRUE,pathlen:0\nkeyUsage=critical,keyCertSign,cRLSign\n"
        "subjectKeyIdentifier=hash\nnameConstraints=critical,"
        + ",".join(f"permitted;{name}" for name in permitted) + "\n"
    )
    _make_key(openssl, work, "ca.key")
    _run(openssl, work, "req", "-x509", "-new", "-key", "ca.key", "-sha256", "-days", str(CA_DAYS), "-config", "ca.cnf",
         "-out", "ca.pem")  # fmt: skip


def _make_server(openssl: str, work: Path, names: list[str]) -> None:
    (work / "server.cnf").write_text(
        "[req]\ndistinguished_name=dn\nprompt=no\n[dn]\nCN=uvdose\n[server]\nbasicConstraints=critical,CA:FALSE\n"
        "keyUsage=critical,digitalSignature\nextendedKeyUsage=serverAuth\nsubjectKeyIdentifier=hash\n"
        f"authorityKeyIdentifier=keyid\nsubjectAltName={','.join(names)}\n"
    )
    _make_key(openssl, work, "server.key")
    _run(openssl, work, "req", "-new", "-key", "server.key", "-config", "server.cnf", "-out", "server.csr")
    _run(openssl, work, "x509", "-req", "-in", "server.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-sha256",
         "-set_serial", f"0x{os.urandom(15).hex()}", "-days", str(SERVER_DAYS), "-extfile", "server.cnf",
         "-extensions", "server", "-out", "server.pem")  # fmt: skip
    try:
        _run(openssl, work, "verify", "-CAfile", "ca.pem", "server.pem")
    except Refusal:
        told = "the CA that is there does not vouch for the names of now: `uvdose phone ca --new-ca` makes another"
        raise Refusal(told) from None


def _make_key(openssl: str, work: Path, name: str) -> None:
    (work / name).touch(mode=0o600)
    _run(openssl, work, "genpkey", "-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:P-256", "-out", name)


def _run(openssl: str, work: Path, *words: str) -> str:
    try:
        done = subprocess.run([openssl, *words], cwd=work, capture_output=True, text=True, timeout=OPENSSL_S)
    except subprocess.TimeoutExpired:
        raise Refusal(f"`openssl {words[0]}` did not end: try it again") from None
    if done.returncode:
        told = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
        raise Refusal(f"`openssl {words[0]}` failed: {told}")
    return done.stdout


def steps(home: Home, made: Made) -> list[str]:
    """What was made, and what is to be done with it."""
    web = load_settings(home).web
    what = "CA and certificate" if made.fresh else "certificate"
    lines = [
        f"{what} made in {made.folder}, for {', '.join(made.names)}",
        f"good for {SERVER_DAYS} days: call this again then, or when the machine has another address",
    ]
    if web.tls_cert is None:
        lines += ["", "Add this to the [web] part of uvdose.toml, then start the daemon anew:",
                  '  tls_cert = "tls/server.pem"', '  tls_key = "tls/server.key"']  # fmt: skip
    else:
        lines += ["", "Start the daemon anew, so that it takes it."]
    port = web.lan_port or "PORT"  # 0: another one at each start, and `serve` tells which
    address = next((a.ip for a in addresses() if a.real), "ADDRESS")
    if made.fresh:
        lines += [
            "", "Each phone must trust the CA once. Start the daemon with --lan and open this on the phone, past the",
            f"warning: https://{address}:{port}/ca.crt; or send {made.folder / 'ca.pem'} to it.",
            "The CA's SHA-256 fingerprint, to compare:", f"  {made.fingerprint}",
            "Android: Settings, Security, Encryption and credentials, Install a certificate, CA certificate; choose",
            "  the file. The names differ from maker to maker: search the settings for `certificate`.",
            "iPhone, iPad: open it in Safari and allow it. Settings, General, VPN and Device Management: install the",
            "  profile. Then Settings, General, About, Certificate Trust Settings: switch it on.",
        ]  # fmt: skip
    return [*lines, "", "Only so can the page keep a phone's screen awake: browsers allow it in a secure context."]
