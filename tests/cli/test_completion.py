"""Completion: what may stand next, of commands and of a home, in real shells; a broken home only offers nothing."""

from __future__ import annotations

import contextlib
import io
import os
import pty
import re
import select
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from support.needs import program

from uvdose.cli import app, completion, named, offered
from uvdose.cli.completion import SCRIPTS, answer
from uvdose.cli.offered import Offer
from uvdose.cli.tree import MODULES

from .conftest import ROOT, Daemon, Homed, Ran, environment

SHELLS = Path(app.__file__).parent


def _leaves(command: Any, path: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], Any]]:
    below = getattr(command, "commands", {})
    return [leaf for name, each in below.items() for leaf in _leaves(each, (*path, name))] or [(path, command)]


LEAVES = _leaves(app.tree())


def _words(*line: str, shell: str = "bash") -> list[str]:
    kind, *found = answer(shell, list(line))
    assert kind == "words"
    return found


def _call(*words: object) -> Ran:
    """A command as it stands, without a home of its own."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = app.run([*map(str, words)])
    return Ran(code, out.getvalue(), err.getvalue())


def test_commands_and_groups_are_offered() -> None:
    assert _words("") == list(MODULES)
    assert _words("tar") == ["target"] and _words("--home", "/nowhere", "res") == ["resume"]
    assert _words("sensor", "") == list(app.tree().commands["sensor"].commands)
    assert _words("--home", "target", "res") == ["resume"]  # a folder of that name
    assert _words("nonsense", "") == [] and _words("sensor", "nonsense", "") == []
    assert "target\tTargets: the dose that prints one combination right." in _words("t", shell="fish")
    assert "target:Targets\\: the dose" not in _words("t", shell="zsh")  # a colon in what it means ends nothing
    assert "target:Targets: the dose that prints one combination right." in _words("t", shell="zsh")


def test_every_option_is_offered_once_of_every_command() -> None:
    assert len(LEAVES) > 80
    for path, command in LEAVES:
        options = [p for p in command.params if p.param_type_name == "option" and not p.hidden]
        known = {name for p in options for name in (*p.opts, *p.secondary_opts) if name.startswith("--")} | {"--help"}
        found = _words(*path, "--")
        assert set(found) == known and len(found) == len(known), path
        flag = next((p for p in options if p.is_flag), None)
        if flag is not None:  # said once, it is not offered again
            assert not set(flag.opts) & set(_words(*path, flag.opts[-1], "--")), path


def test_what_a_value_may_be() -> None:
    for shell, typed, found in (
        ("bash", ["--light-in", "s"], "shade"), ("bash", ["--light-in", "=", "s"], "shade"),
        ("zsh", ["--light-in=s"], "--light-in=shade"), ("fish", ["--light-in=s"], "--light-in=shade"),
    ):  # fmt: skip
        assert _words("expose", "blue", *typed, shell=shell) == [found]
    assert _words("day", "") == ["today", "yesterday"] and _words("target", "correct", "blue", "") == ["on", "off"]
    assert _words("process", "iron") == ["iron\\ blue"] and _words("process", '"iron') == ["iron blue"]
    assert _words("move", "1", "f") == ["finish"] and _words("shell", "z") == ["zsh"]
    for line in (["--home", ""], ["day", "--out", "x"], ["import", ""], ["journal", "backup", "--pictures", ""]):
        assert answer("bash", line) == ["files"]
    assert _words("expose", "blue", "--label", "") == []  # whatever the person likes


def test_the_tables_name_what_there_is() -> None:
    paths = {" ".join(path) for path, _ in LEAVES} | set(app.tree().commands)
    assert set(offered._ARGUMENTS) <= paths
    kinds = {kind for kinds in offered._ARGUMENTS.values() for kind in kinds} | set(offered._OPTIONS.values())
    assert kinds <= named.KINDS
    known = {name for _, command in LEAVES for p in command.params for name in p.opts}
    assert set(offered._OPTIONS) <= known


def test_names_come_from_the_home(daemon: Daemon) -> None:
    home = ("--home", str(daemon.folder))
    for words in (["target", "set", "endpapers", "--dose", "1e6"], ["target", "set", "old", "--dose", "9"],
                  ["target", "retire", "old", "--reason", "used up"],
                  ["edition", "plan", "fans", "--prints", "3", "--target", "endpapers"],
                  ["strip", "plan", "--around", "2400", "--count", "5", "--process", "iron blue"],
                  ["expose", "endpapers", "--label", "fern"], ["expose", "endpapers", "--frame", "by the door"],
                  ["hold", "2"]):  # fmt: skip
        assert daemon.call(*words).code == 0, words
    for line, found in (
        (["target", "show", ""], ["endpapers"]), (["expose", "e"], ["endpapers"]),
        (["queue", "add", ""], ["endpapers"]),
        (["sensor", "zero", ""], ["sill"]), (["expose", "endpapers", "--sensor", ""], ["sill"]),
        (["hold", ""], ["1"]), (["resume", ""], ["2"]), (["finish", ""], ["1", "2"]), (["undo", ""], ["2", "1"]),
        (["again", ""], []), (["expose", "x", "--frame", "by"], ["by\\ the\\ door"]), (["strip", "run", ""], ["1"]),
        (["tablet", "run", ""], []), (["expose", "--edition", ""], ["fans"]), (["edition", "show", "f"], ["fans"]),
    ):  # fmt: skip
        assert _words(*home, *line) == found, line
        assert _words(*line, *home, "") is not None
    assert _words(*home, "hold", "", shell="fish") == ["1\tfern, endpapers v1, frame 1, counting"]
    assert _words(*home, "expose", "", shell="zsh") == ["endpapers:v1, 1000000 mJ/cm²"]


BROKEN = {
    "no home": lambda at: at.rmdir(),
    "no settings": lambda at: None,
    "settings that are none": lambda at: (at / "uvdose.toml").write_bytes(b"[[sensor\xff"),
    "sensors that are none": lambda at: (at / "uvdose.toml").write_text("sensor = 3"),
    "settings that never end": lambda at: os.mkfifo(at / "uvdose.toml"),
    "a journal that is none": lambda at: (at / "journal.sqlite3").write_bytes(b"no journal" * 900),
    "an empty journal": lambda at: (at / "journal.sqlite3").touch(),
    "a folder for a journal": lambda at: (at / "journal.sqlite3").mkdir(),
}


@pytest.mark.parametrize("what", BROKEN)
def test_a_broken_home_offers_nothing_and_says_nothing(what: str, home: Homed) -> None:
    home.folder.mkdir()
    BROKEN[what](home.folder)
    there = sorted(home.folder.iterdir()) if home.folder.exists() else None
    for line in (["sensor", "zero", ""], ["expose", ""], ["undo", ""], ["strip", "run", ""], ["film", "show", ""],
                 ["expose", "x", "--frame", ""]):  # fmt: skip
        ran = _call("shell", "bash", "--", "--home", home.folder, *line)
        assert (ran.code, ran.out, ran.err) == (0, "words\n", ""), (line, ran)
    assert there == (sorted(home.folder.iterdir()) if home.folder.exists() else None)


def test_any_line_is_answered_without_an_error(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("UVDOSE_HOME", str(tmp_path))
    odd = ["\udcff", "--=", "=", "::", "-", "--home", "", "''", '"', "$(touch x)", "a" * 5000, "--", "-x", "\n"]
    for shell in SCRIPTS:
        for word in odd:
            for line in ([word], ["expose", word], ["--home", word, "expose", ""], ["expose", word, ""]):
                ran = _call("shell", shell, "--", *line)
                assert ran.code == 0 and ran.err == "" and ran.out.splitlines()[0] in ("words", "files"), (line, ran)


def test_the_scripts_are_printed_and_a_wrong_shell_is_told() -> None:
    for shell, file in SCRIPTS.items():
        assert _call("shell", shell) == (0, (SHELLS / file).read_text(encoding="utf-8"), "")
    _call("shell", "rc").refused(2, "'rc'", "bash, zsh, fish")


@pytest.fixture
def typed(tmp_path: Path) -> dict[str, str]:
    """An environment with `uvdose` on its path, and a home with two targets."""
    binary = tmp_path / "bin" / "uvdose"
    binary.parent.mkdir()
    binary.write_text(f'#!/bin/sh\nexec {sys.executable} -m uvdose "$@"\n')
    binary.chmod(0o755)
    home = Homed(tmp_path / "home").write('[[sensor]]\nname = "sill"\nlink = "simulated"\nscale = 0.01\n')
    for name in ("endpapers", "end+leaf"):
        assert home.call("target", "set", name, "--dose", 2700).code == 0
    path = f"{binary.parent}:{os.environ['PATH']}"
    return environment(PATH=path, UVDOSE_HOME=str(home.folder), HOME=str(tmp_path), TERM="dumb")


def _reply(line: list[str], env: dict[str, str]) -> list[str]:
    """What bash would offer, its words as it breaks them."""
    script = (f". {SHELLS / SCRIPTS['bash']}; COMP_WORDS=(\"$@\"); COMP_CWORD=$(($# - 1)); _uvdose uvdose;"
              " printf '%s\\n' \"${COMPREPLY[@]}\"")  # fmt: skip
    done = subprocess.run(
        ["bash", "-c", script, "bash", *line], capture_output=True, text=True, timeout=30, env=env, check=True
    )
    assert done.stderr == ""
    return done.stdout.split("\n")[:-1]


def test_what_the_readme_says_puts_each_script_in_its_place(typed: dict[str, str], tmp_path: Path) -> None:
    blocks = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
    (lines,) = [block for block in blocks if "uvdose shell" in block]
    subprocess.run(["bash", "-ec", lines], check=True, timeout=60, env=typed)
    for place, shell in ((".local/share/bash-completion/completions/uvdose", "bash"), (".zfunc/_uvdose", "zsh"),
                         (".config/fish/completions/uvdose.fish", "fish")):  # fmt: skip
        assert (tmp_path / place).read_bytes() == (SHELLS / SCRIPTS[shell]).read_bytes()


def test_bash_is_offered_words(typed: dict[str, str]) -> None:
    assert _reply(["uvdose", "target", "sh"], typed) == ["show"]
    assert _reply(["uvdose", "expose", "end"], typed) == ["end+leaf", "endpapers"]
    assert _reply(["uvdose", "expose", "--sensor", "=", "s"], typed) == ["sill"]
    assert _reply(["uvdose", "expose", "--look"], typed) == ["--look"]
    broken = typed | {"UVDOSE_HOME": "/dev/null/none"}
    assert _reply(["uvdose", "expose", "end"], broken) == [""]
    assert _reply(["no-such-program", "expose", ""], typed | {"PATH": "/usr/bin:/bin"}) == [""]


HOSTILE = (
    "$(touch done)", "`touch done`", 'a"; touch done; "', "it's; touch done; '", "a\\", "${IFS}", "!!", "~", "*",
    "a&b|c>d",
)  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("quote", ["", '"', "'"])
def test_what_bash_is_offered_is_the_name_and_does_nothing(
    name: str, quote: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The line that comes of it, read by bash itself (history expansion on, as where somebody types)."""
    monkeypatch.setattr(completion, "_of_home", lambda found: [Offer(name, "v1")])
    found = _words("expose", quote)
    if not found:  # within double quotes nothing takes its meaning from it
        assert "!" in name and quote == '"'
        return
    script = f"set -o history -o histexpand\nset -- {quote}{found[0]}{quote}\nprintf %s \"$1\"\n"
    done = subprocess.run(["bash", "--norc", "-i"], input=script, capture_output=True, text=True, timeout=30,
                          cwd=tmp_path, env=os.environ | {"HISTFILE": "", "PS1": ""}, check=False)  # fmt: skip
    assert done.stdout == name and not list(tmp_path.iterdir())


def test_what_a_word_means_is_one_line_that_steers_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(completion, "_of_home", lambda found: [Offer("blue", "a\x1b[2J\x07\u202e\nb\tc")])
    for shell in ("zsh", "fish"):
        (line,) = _words("expose", "", shell=shell)
        assert line.replace("\t", "").isprintable() and line.count("\t") == (shell == "fish")


def test_a_line_is_completed_in_an_interactive_bash(typed: dict[str, str], tmp_path: Path) -> None:
    rc = tmp_path / "rc"
    rc.write_text(f"PS1='> '\n. {SHELLS / SCRIPTS['bash']}\n")
    child, terminal = pty.fork()
    if child == 0:
        os.execvpe("bash", ["bash", "--noprofile", "--rcfile", str(rc), "-i"], typed)
    shown = ""
    try:
        for keys, then in ((None, "> "), ("uvdose targ\t", "target "), ("sh\t", "show "), ("endp\t", "endpapers ")):
            if keys is not None:
                shown = ""
                os.write(terminal, keys.encode())
            end = time.monotonic() + 30
            while then not in shown and time.monotonic() < end:
                if select.select([terminal], [], [], 0.2)[0]:
                    shown += os.read(terminal, 4096).decode(errors="replace")
            assert then in shown, (keys, shown)
    finally:
        os.close(terminal)
        os.waitpid(child, 0)


def test_fish_is_offered_words_and_what_they_are(typed: dict[str, str]) -> None:
    def offers(line: str) -> list[str]:
        script = f"source {SHELLS / SCRIPTS['fish']}; complete -C '{line}'"
        done = subprocess.run([program("fish"), "--no-config", "-c", script], capture_output=True, text=True,
                              timeout=30, env=typed, check=True)  # fmt: skip
        assert done.stderr == ""
        return done.stdout.splitlines()

    assert offers("uvdose expose endp") == ["endpapers\tv1, 2700 mJ/cm²"]
    assert offers("uvdose expose --sensor=s") == ["--sensor=sill\tsimulated"]
    assert offers("uvdose --home /de") == ["/dev/"]


def test_zsh_takes_the_part_that_is_its_own(typed: dict[str, str], tmp_path: Path) -> None:
    """Its widget stands in for the line editor's; the words it is given are what zsh would show."""
    functions = tmp_path / "functions"
    functions.mkdir()
    shutil.copy(SHELLS / SCRIPTS["zsh"], functions / "_uvdose")
    script = f"""fpath=({functions} $fpath); autoload -Uz compinit; compinit -u -d {tmp_path}/dump
        print -r -- $_comps[uvdose]; autoload +X _uvdose
        _describe() {{ print -rl -- "${{(@P)argv[-1]}}" }}; _files() {{ print files }}
        ask() {{ words=(uvdose "$@"); CURRENT=$#words; _uvdose }}
        ask expose endp; ask --home ''; ask hold ''"""
    done = subprocess.run(
        [program("zsh"), "-f", "-c", script], capture_output=True, text=True, timeout=60, env=typed, check=False
    )
    assert done.stderr == ""
    assert done.stdout.splitlines()[:3] == ["_uvdose", "endpapers:v1, 2700 mJ/cm²", "files"]
