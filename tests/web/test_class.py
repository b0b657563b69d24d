"""A class of fifty that opens the page at once, and some phones behind one address: no limit may break their pages."""

from __future__ import annotations

import socket
from collections import Counter

from support.site import Site, Visitor

from uvdose.web.pages import FOLDER

TIMES = 3
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
