"""Asking the daemon of a home over its local API, and reading the journal beside it."""

from __future__ import annotations

import http.client
import re
import socket
import sqlite3
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, TypeVar

import msgspec

from ..config import Home
from ..home import Runtime, lock, read_runtime
from ..journal.schema import Older, home_id, open_reading, open_writing
from ..messages import EventDoc, HelloDoc, Refused, StatusDoc
from ..model import Refusal

if TYPE_CHECKING:
    from ..journal.store import Store

HELLO_S = 2.0
ANSWER_S = 10.0
LINE_BOUND = 1 << 20
ANSWER_BOUND = 64 << 20

# An address as the daemon writes it: by number, and nothing after the port.
_OWN_URL = re.compile(r"http://(?:(\d{1,3}(?:\.\d{1,3}){3})|\[([0-9a-f:.]{2,45})\]):\d{1,5}")

T = TypeVar("T")


class _Stay(urllib.request.HTTPRedirectHandler):
    """The daemon sends nobody on; who does is not the daemon, and gets no token for the next address."""

    def redirect_request(self, *_: object, **__: object) -> None:
        return None


class Daemon:
    """One home's daemon, its identity proven."""

    def __init__(self, home: Home, runtime: Runtime) -> None:
        self._home = home
        self._runtime = runtime
        # A proxy of the environment is never asked for what lies on this machine.
        self._opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), _Stay())

    def status(self) -> StatusDoc:
        """Now. Raises `Refusal`."""
        return self.get("status", StatusDoc)

    def get(self, path: str, kind: type[T], timeout_s: float = ANSWER_S) -> T:
        """Ask for a document. Raises `Refusal`."""
        return self._decode(self._open("GET", path, None, timeout_s), kind)

    def post(self, path: str, body: object, kind: type[T], timeout_s: float = ANSWER_S) -> T:
        """Ask for an act. Raises `Refusal` with the daemon's own reason."""
        return self._decode(self._open("POST", path, msgspec.json.encode(body), timeout_s), kind)

    def events(self, after: int) -> Iterator[EventDoc]:
        """Events above `after`, and those to come. Raises `Refusal` (code 3) when the daemon goes."""
        with closing(self._open("GET", f"events?after={after}", None, None)) as answer:
            try:
                while line := answer.readline(LINE_BOUND):
                    yield msgspec.json.decode(line, type=EventDoc)
            except (OSError, http.client.HTTPException, msgspec.MsgspecError):
                pass
        raise Refusal(f"the daemon of home {self._home.folder} has gone", 3)

    def _open(self, method: str, path: str, body: bytes | None, timeout_s: float | None) -> http.client.HTTPResponse:
        request = urllib.request.Request(
            f"{self._runtime.url}/api/v1/{path}", data=body, method=method,
            headers={"Authorization": f"Bearer {self._runtime.token}", "Content-Type": "application/json"},
        )
        try:
            answer: http.client.HTTPResponse = self._opener.open(request, timeout=timeout_s)
            return answer
        except urllib.error.HTTPError as err:
            with closing(err):
                raise self._refusal(err) from None
        except (OSError, http.client.HTTPException, ValueError) as err:
            if isinstance(getattr(err, "reason", err), TimeoutError):
                raise Refusal(
                    "the daemon is slow to answer; what you asked may still be done: look at `uvdose status`"
                ) from None
            raise no_daemon(self._home) from None

    def _refusal(self, err: urllib.error.HTTPError) -> Refusal:
        try:
            told = msgspec.json.decode(err.read(LINE_BOUND), type=Refused)
        except (OSError, http.client.HTTPException, msgspec.MsgspecError):
            return Refusal(f"the daemon answered with {err.code}, and no reason")
        return no_daemon(self._home) if err.code == 401 else Refusal(told.refused, told.code)

    def _decode(self, answer: http.client.HTTPResponse, kind: type[T]) -> T:
        with closing(answer):
            try:
                data = answer.read(ANSWER_BOUND + 1)
                if len(data) > ANSWER_BOUND:
                    raise Refusal(f"the daemon's answer is longer than {ANSWER_BOUND >> 20} MB, which none is")
                if answer.length:  # a bounded read does not say that the rest never came
                    raise no_daemon(self._home)
                return msgspec.json.decode(data, type=kind)
            except msgspec.MsgspecError:
                raise Refusal("the daemon's answer is not understood: it may be another version; restart it") from None
            except (OSError, http.client.HTTPException):
                raise no_daemon(self._home) from None


def no_daemon(home: Home) -> Refusal:
    """What to say when nobody answers; without settings a daemon could not be started either, so that comes first."""
    if not home.settings_file.exists():
        return Refusal(
            f"no daemon runs for home {home.folder}, and it has no settings (uvdose.toml):"
            " `uvdose sensor find --write` makes them, or the README shows how; then start `uvdose serve`"
            " (`uvdose demo` shows it all without)", 3,
        )
    return Refusal(f"no daemon runs for home {home.folder}: start one with `uvdose serve`", 3)


def find_daemon(home: Home) -> Daemon | None:
    """The daemon of this home and no other: it must answer with the home's own id. None when none does."""
    runtime = read_runtime(home)
    if runtime is None or not is_own_url(runtime.url):
        return None
    daemon = Daemon(home, runtime)
    try:
        if home.journal_file.exists():
            with closing(open_reading(home.journal_file)) as db:
                known = home_id(db)
        else:
            known = runtime.home  # taken away under the daemon, which counts on and says so when it is asked
        hello = daemon.get("hello", HelloDoc, HELLO_S)
    except Refusal:
        return None
    return daemon if hello.home == known == runtime.home else None


def is_own_url(url: str) -> bool:
    """Whether an address is one that a daemon of this machine gives itself: the token goes to no other.

    A socket can be bound to the addresses of this machine alone.
    """
    found = _OWN_URL.fullmatch(url)
    if found is None:
        return False
    try:
        with socket.socket(socket.AF_INET if found[1] else socket.AF_INET6) as probe:
            probe.bind((found[1] or found[2], 0))
    except OSError:
        return False
    return True


def need_daemon(home: Home) -> Daemon:
    """Raises `Refusal` (code 3) when this home has no daemon."""
    daemon = find_daemon(home)
    if daemon is None:
        raise no_daemon(home)
    return daemon


@contextmanager
def journal(home: Home) -> Iterator[Store]:
    """The home's journal for reading, also while a daemon writes it. Raises `Refusal`.

    One of an older uvdose is brought up to date first, under the home's lock.
    """
    from ..journal.store import Store  # and the values it gives: what asks the daemon alone goes without

    try:
        db = open_reading(home.journal_file)
    except Older:
        if find_daemon(home) is not None:
            raise Refusal("the daemon of this home is older than this program: end `uvdose serve` and start it again,"
                          " which brings the journal up to date") from None  # fmt: skip
        with lock(home, "uvdose, bringing the journal up to date"):
            open_writing(home.journal_file).close()
        db = open_reading(home.journal_file)
    with closing(db):
        try:
            yield Store(db)
        except sqlite3.Error as err:
            told = f"journal {home.journal_file} cannot be read ({err}): `uvdose journal check` says more"
            raise Refusal(told) from None


def now_us(home: Home) -> int:
    """Now: as the daemon tells it, which may run at a pace of its own, else as this machine does."""
    from ..clock import host_wall_us
    from ..stamps import from_iso

    daemon = find_daemon(home)
    return host_wall_us() if daemon is None else from_iso(daemon.status().utc)


def day_typed(home: Home, text: str | None) -> str | None:
    """A day that a person named; `today` and `yesterday` as YYYY-MM-DD, all else as it stands."""
    from datetime import date, timedelta

    from ..stamps import local_date

    if text is None or (back := {"today": 0, "yesterday": 1}.get(text.strip().lower())) is None:
        return text
    return (date.fromisoformat(local_date(now_us(home))) - timedelta(days=back)).isoformat()
