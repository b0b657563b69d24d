"""Questions to the person at a terminal. Without one each answer must come as an option."""

from __future__ import annotations

import select
import sys
from collections.abc import Callable
from typing import TypeVar

import typer

from ..model import Refusal

T = TypeVar("T")

MOST_TRIES = 5
LOOK_S = 0.2


def at_terminal() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def answer(given: T | None, question: str, read: Callable[[str], T], option: str, default: str | None = None) -> T:
    """What was given as an option, else what the person answers; an answer that is not understood is asked again.

    Raises `Refusal` (code 2) where nobody can be asked and there is no default.
    """
    if given is not None:
        return given
    if not at_terminal():
        if default is not None:
            return read(default)
        raise Refusal(f"{question}? say it with {option}", 2)
    for _ in range(MOST_TRIES):
        text = _line(f"{question}{f' [{default}]' if default else ''}: ") or (default or "")
        try:
            return read(text)
        except Refusal as err:
            print(f"  {err.line}", flush=True)
    raise Refusal(f"{question}: not understood; say it with {option}", 2)


def yes(question: str, default: bool = False) -> bool:
    """A question of yes or no; the default where nobody can be asked."""
    if not at_terminal():
        return default
    for _ in range(MOST_TRIES):
        text = _line(f"{question} [{'Y/n' if default else 'y/N'}]: ").lower()
        if not text:
            return default
        if text in ("y", "yes", "n", "no"):
            return text.startswith("y")
        print("  yes or no", flush=True)
    return default


def wait_for_enter(prompt: str) -> None:
    """Until the person presses Enter."""
    _line(f"{prompt} ")


def _line(prompt: str) -> str:
    try:
        if not at_terminal():
            return input(prompt).strip()
        from ..review.layout import fitted

        print(fitted(prompt), end="", flush=True)
        # Looked for again and again: a Ctrl-C between the prompt and a wait without end would lie until the next key.
        while not select.select([sys.stdin], [], [], LOOK_S)[0]:
            pass
        return input().strip()
    except EOFError:
        print(flush=True)
        raise typer.Abort from None


def number(text: str) -> float:
    """A finite number, decimal comma allowed. Raises `Refusal` (code 2)."""
    import math

    try:
        value = float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Refusal(f"{text!r} is not a number: type one such as 2565", 2)
    return value


def whole(text: str) -> int:
    """A whole number from 1. Raises `Refusal` (code 2)."""
    if not (text.isascii() and text.isdigit() and 0 < len(text) < 6 and int(text) > 0):
        raise Refusal(f"{text!r}: type a whole number such as 7", 2)
    return int(text)


def text(typed: str) -> str:
    """Any text; empty: nothing to say."""
    return typed


def one_of(*words: str) -> Callable[[str], str]:
    """A reader of one of some words, which may be shortened as far as it stays clear. Raises `Refusal` (code 2)."""

    def read(typed: str) -> str:
        found = [w for w in words if typed and w.startswith(typed.lower())]
        exact = [w for w in words if w == typed.lower()]
        if len(exact or found) != 1:
            raise Refusal(f"{typed!r}: one of {', '.join(words)}", 2)
        return (exact or found)[0]

    return read
