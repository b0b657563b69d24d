"""What went wrong with a serial port, in one line, and what a person can do about it."""

from __future__ import annotations

import errno
import os

from .link import Words

PORT_ERRORS: tuple[type[Exception], ...] = (OSError,)
try:
    import termios

    PORT_ERRORS = (OSError, termios.error)  # flush and close may raise the second, which is not an OSError
except ImportError:
    pass
ANY_ERRORS: tuple[type[Exception], ...] = (*PORT_ERRORS, ValueError)

_GONE = (errno.EIO, errno.ENODEV, errno.ENXIO)
_BUSY = (errno.EAGAIN, errno.EBUSY)
_DENIED = (errno.EACCES, errno.EPERM)
_FORMS = "give a device path such as /dev/serial/by-id/..., or a URL such as socket://host:port"


def words_for(err: BaseException, where: str, *, was_open: bool) -> Words:
    """One line for an error of the port `where`; was_open tells a lost port from one that never opened."""
    text = " ".join(str(err).split())[:160]
    number = getattr(err, "errno", None)
    if isinstance(err, ValueError):
        return Words(f"{where!r} cannot be opened: {text}", f"correct `port` or `baud` of this sensor; {_FORMS}")
    if not isinstance(err, PORT_ERRORS):
        return Words(f"reading {where} failed: {type(err).__name__}: {text}", "please report this")
    if was_open:
        return Words(f"{where} went away while it was read", "check the cable, and plug the sensor in again")
    if number == errno.ENOENT:
        return Words(f"there is no port {where}", "plug the sensor in, or correct `port` of this sensor")
    if number in _DENIED:
        return Words(f"no permission to open {where}", _permission(where))
    if number in _BUSY:
        return Words(
            f"another program has {where}", "close it: a serial monitor, a terminal, or a second uvdose on this port"
        )
    if number in _GONE:
        return Words(f"the device behind {where} does not answer", "unplug the sensor and plug it in again")
    if number in (errno.EISDIR, errno.ENOTTY) or (number is None and "configure port" in text):
        return Words(f"{where} is not a serial port", f"correct `port` of this sensor; {_FORMS}")
    return Words(f"{where} cannot be opened: {text}", "check that the device or the other end is there")


def _permission(where: str) -> str:
    """Which group may open the port, in the words of the command that joins it."""
    try:
        import grp

        group = grp.getgrgid(os.stat(where).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return "ask for permission to read and write it"
    if group == "root":
        return "only root may open it: give its group the right to read and write it"
    return f"join its group: sudo usermod -aG {group} $USER, then log out and in again"
