"""A class of fifty that opens the page at once, and some phones behind one address: no limit may break their pages."""

from __future__ import annotations

import socket
import time
from collections import Counter
from pathlib import Path

from support.site import Site, Visitor

from uvdose.web.pages import FOLDER
from uvdose.web.server import STUCK_S

TIMES = 3
PILE = 380  # answers of 11 kB: more than a kernel keeps for one connection
OF_A_BROWSER = 6  # connections that a browser opens to one host, for a page of many files
FILES = [f"/static/{path.name}" for path in FOLDER.iterdir() if not path.name.startswith(("pair", "wall"))]


def status_of(sock: socket.socket, visitor: Visitor, path: str) -> str:
    """Ask over a connection that stays open; the whole answer is read."""
    head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{visitor.port}\r\nCookie: {visitor.cookie}\r\n\r\n"
    try:
        sock.sendall(head.encode())
        with sock.makefile("rb") as answer:
            words = answer.readline().split()
            length = 0
            while (line := answer.readline()).strip():
                if line.lower().startswith(b"content-length:"):
                    length = int(line.split(b":")[1])
            answer.read(length)
    except OSError as err:
        return type(err).__name__
    return words[1].decode() if words else "closed"


def test_fifty_phones_that_open_the_page_at_once_are_all_served(site: Site) -> None:
    code = site.code(view=True)
    phones = [site.visitor() for _ in range(50)]
    held: list[socket.socket] = []
    try:
        for phone in phones:
            assert phone.pair(code).status == 200
        told: Counter[str] = Counter()
        for phone in phones:
            for path in FILES[:OF_A_BROWSER]:
                held.append(phone.connect())
                told[status_of(held[-1], phone, path)] += 1
        assert told == {"200": 50 * OF_A_BROWSER}
    finally:
        for sock in held:
            sock.close()


def test_four_phones_behind_one_address_may_load_the_page_again_and_again(site: Site) -> None:
    code = site.code(view=True)
    first = site.visitor()
    told: Counter[str] = Counter()
    for _ in range(4):
        phone = site.visitor()
        phone.source = first.source
        assert phone.pair(code).status == 200
        with phone.connect() as sock:
            for _ in range(TIMES):
                for path in ["/", *FILES, "/api/v1/hello"]:
                    told[status_of(sock, phone, path)] += 1
    assert told == {"200": 4 * TIMES * (len(FILES) + 2)}


def held_by(site: Site, ends: set[int]) -> int:
    """How many of the connections from these ports the daemon has still open, as the kernel tells it."""
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    port = f"{site.network_port:04X}"
    return sum(
        row[1].endswith(f":{port}") and int(row[2].partition(":")[2], 16) in ends and row[9] != "0" for row in rows
    )


def test_who_never_reads_holds_no_connection(site: Site) -> None:
    """A stranger that asks and does not read, and a paired phone that sleeps or was revoked in the middle of it."""
    stranger, phone = site.visitor(), site.phone(view=True, name="asleep")
    held: list[socket.socket] = []
    try:
        for visitor in (stranger, phone):
            sock = socket.socket()
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            sock.bind((visitor.source, 0))
            sock.settimeout(0.5)
            sock.connect(("127.0.0.1", visitor.port))
            held.append(sock)
            head = f"GET /static/page.js HTTP/1.1\r\nHost: 127.0.0.1:{visitor.port}\r\nCookie: {visitor.cookie}\r\n\r\n"
            sock.sendall(head.encode() * PILE)
        ends = {sock.getsockname()[1] for sock in held}
        end = time.monotonic() + 10
        while held_by(site, ends) < len(held):
            assert time.monotonic() < end
            time.sleep(0.02)
        site.ask("POST", "/phones/revoke", {"which": "asleep"})
        end = time.monotonic() + STUCK_S + 20
        while held_by(site, ends):
            assert time.monotonic() < end, "they are still held"
            time.sleep(0.2)
        assert stranger.ask("GET", "/pair").status == 200
    finally:
        for sock in held:
            sock.close()
