"""What is built holds what it should, and works where nothing of the checkout is on the path.

Both are built from a copy that has what a working folder gathers. The wheel is installed without downloads: the fresh
environment sees the packages of the running one behind its own. So this does not show that the dependencies can be
fetched and fit together; that they are all declared is held against the imports.
"""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import zipfile
from collections.abc import Iterator
from importlib.metadata import packages_distributions, requires
from pathlib import Path, PurePosixPath
from typing import NamedTuple

import pytest

import uvdose

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NOT_CARRIED = {".git", ".venv", ".ci", "__pycache__", "build", "dist", ".pytest_cache", ".mypy_cache", ".ruff_cache",
               ".hypothesis", "uvdose.egg-info"}  # fmt: skip
GATHERED = (".venv/lib/x.py", ".hypothesis/x", ".pytest_cache/x", "uvdose/__pycache__/x.cpython-311.pyc",
            "tests/__pycache__/x.cpython-311.pyc", "firmware_notes/avr/build/node.hex", "notes.txt")  # fmt: skip
CONSUMER = """\
from uvdose.config import parse_settings
from uvdose.units import check_dose

name: str = parse_settings("", "settings").bench.name
check_dose("much", "mJ/cm2")
"""


class Built(NamedTuple):
    """The two files, and what lay in the folder that they were made of."""

    wheel: Path
    sdist: Path
    source: set[str]
    told: str


def _names(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    source = tmp_path_factory.mktemp("built") / "source"
    shutil.copytree(ROOT, source, ignore=lambda _, names: NOT_CARRIED & set(names))
    names = _names(source)
    for name in GATHERED:
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        (source / name).write_text("x")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--outdir", source / "dist", source], capture_output=True, text=True,
        timeout=110, check=False, env=_environment(),
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    (wheel,), (sdist,) = (source / "dist").glob("*.whl"), (source / "dist").glob("*.tar.gz")
    return Built(wheel, sdist, names, done.stdout + done.stderr)


@pytest.fixture(scope="module")
def python(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with the wheel in it."""
    folder = tmp_path_factory.mktemp("fresh")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", folder], check=True, timeout=60)
    python = folder / "bin" / "python"
    asked = [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"]
    own = Path(subprocess.run(asked, check=True, capture_output=True, text=True, timeout=30).stdout.strip())
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", python, "install", "--no-deps", "--no-index", "--quiet", built.wheel],
        check=True, timeout=60, env=_environment(),
    )  # fmt: skip
    (own / "behind.pth").write_text(f"{sysconfig.get_path('purelib')}\n")
    return python


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    (tmp_path / "empty").mkdir()
    return tmp_path / "empty"


def _environment(**more: str) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("UVDOSE_", "PYTHON", "COV_"))}
    return kept | {"PIP_DISABLE_PIP_VERSION_CHECK": "1"} | more


def _run(python: Path, folder: Path, *words: str, timeout: float = 60) -> str:
    """A command of the fresh environment, in a folder without anything."""
    done = subprocess.run(
        [python.with_name("uvdose"), *words], cwd=folder, capture_output=True, text=True, timeout=timeout,
        env=_environment(HOME=str(folder), TMPDIR=str(folder)), check=False,
    )  # fmt: skip
    assert done.returncode == 0 and done.stderr == "", done
    return done.stdout


def test_one_version_is_told_everywhere(built: Built) -> None:
    """`uvdose/__init__.py` holds it; the newest heading of the changelog is of the same version."""
    assert "version" in PROJECT["dynamic"] and "version" not in PROJECT
    heading = re.search(r"^## (\S+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.M)
    assert heading is not None and heading[1] == uvdose.__version__
    assert built.wheel.name == f"uvdose-{uvdose.__version__}-py3-none-any.whl"
    assert built.sdist.name == f"uvdose-{uvdose.__version__}.tar.gz"


def test_nothing_is_warned_of(built: Built) -> None:
    """But for what says that a pattern found nothing to leave out, or that bytecode is not wanted here."""
    harmless = re.compile(r"no previously-included|byte-compiling is disabled")
    warned = [line for line in built.told.splitlines() if re.search(r"warning|deprecat", line, re.I)]
    assert [line for line in warned if not harmless.search(line)] == []


def test_the_source_distribution_is_the_project(built: Built) -> None:
    with tarfile.open(built.sdist) as archive:
        held = {str(PurePosixPath(*PurePosixPath(m.name).parts[1:])) for m in archive if m.isfile()}
        run = next(m for m in archive if m.name.endswith("/tests/run"))
    made = {"PKG-INFO", "setup.cfg"} | {name for name in held if name.startswith("uvdose.egg-info/")}
    assert held - made == built.source - {".gitignore"}
    assert {"tests/conftest.py", "tests/run", "shared/wire/vectors.json", "firmware_notes/sensors.md", "LICENSE",
            "CHANGELOG.md", "DEVELOPERS.md", "README.md", "MANIFEST.in"} <= held  # fmt: skip
    assert run.mode & 0o100


def test_the_wheel_is_the_package_and_what_a_system_looks_for(built: Built) -> None:
    with zipfile.ZipFile(built.wheel) as archive:
        held = set(archive.namelist())
        metadata = archive.read(next(name for name in held if name.endswith("/METADATA"))).decode()
    info = {name for name in held if ".dist-info/" in name}
    shares = {name.partition(".data/data/")[2] for name in held if ".data/data/" in name}
    package = {name for name in held if name.startswith("uvdose/")}
    assert package == {name for name in built.source if name.startswith("uvdose/")}
    assert {"uvdose/py.typed", "uvdose/web/static/page.html", "uvdose/light/bands.json"} <= package
    assert shares == {"share/man/man1/uvdose.1", "share/bash-completion/completions/uvdose",
                      "share/zsh/site-functions/_uvdose", "share/fish/vendor_completions.d/uvdose.fish"}  # fmt: skip
    assert any(name.endswith(".dist-info/licenses/LICENSE") for name in info)
    assert len(held) == len(package) + len(shares) + len(info)
    assert "\nLicense-Expression: MIT\n" in metadata and "\nLicense-File: LICENSE\n" in metadata


def _imported() -> Iterator[tuple[str, str]]:
    for path in (ROOT / "uvdose").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                names = [node.module]
            for name in names:
                yield name.partition(".")[0], path.relative_to(ROOT).as_posix()


# What another dependency is made of, and always brings: the server's own protocol.
COMES_WITH = {"h11": "uvicorn"}


def _bare(requirement: str) -> str:
    return re.split(r"[^A-Za-z0-9._-]", requirement)[0].lower().replace("_", "-")


def test_every_import_is_declared_and_everything_declared_is_imported() -> None:
    needed = {_bare(r) for r in PROJECT["dependencies"]}
    extra = {_bare(r) for name, each in PROJECT["optional-dependencies"].items() if name != "test" for r in each}
    sold = packages_distributions()
    for brought, by in COMES_WITH.items():
        assert by in needed and any(_bare(r) == brought and "extra ==" not in r for r in requires(by) or [])
    needed_here = needed | extra | set(COMES_WITH)
    seen = set()
    for module, path in _imported():
        if module in sys.stdlib_module_names or module == "uvdose":
            continue
        # A package may be absent here; then its module goes by its own name.
        sellers = {_bare(name) for name in sold.get(module, [module])}
        assert sellers & needed_here, f"{path} imports {module}, which pyproject.toml does not name"
        seen |= sellers
    assert needed <= seen


def test_it_runs_outside_of_the_checkout(python: Path, empty: Path) -> None:
    where = subprocess.run(
        [python, "-c", "import uvdose, numpy; print(uvdose.__file__)"], cwd=empty, capture_output=True, text=True,
        timeout=30, env=_environment(), check=True,
    ).stdout  # fmt: skip
    assert Path(where.strip()).is_relative_to(python.parents[1]) and not where.startswith(str(ROOT))
    assert _run(python, empty, "--version") == f"uvdose {uvdose.__version__}\n"
    assert "At the bench:" in _run(python, empty, "--help")
    assert _run(python, empty, "shell", "bash", "--", "targ") == "words\ntarget\n"
    assert _run(python, empty, "process", "gum").startswith("gum\n")
    page = python.parents[1] / "share" / "man" / "man1" / "uvdose.1"
    assert _run(python, empty, "man") == page.read_text(encoding="utf-8")
    assert list(empty.iterdir()) == []


def test_a_consumers_types_are_checked(python: Path, empty: Path) -> None:
    (empty / "consumer.py").write_text(CONSUMER)
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--python-executable", python, "--cache-dir", empty / "cache",
         "consumer.py"], cwd=empty, capture_output=True, text=True, timeout=110, env=_environment(), check=False,
    )  # fmt: skip
    told = done.stdout.splitlines()
    assert len(told) == 2 and told[0].startswith('consumer.py:5: error: Argument 1 to "check_dose"'), done


def test_the_demo_comes_to_its_end_and_its_day_becomes_a_page(python: Path, empty: Path) -> None:
    """The page's style, the tables and the fonts are found: none of them lies in the checkout only."""
    home = str(empty / "home")
    done = subprocess.run(
        [python.with_name("uvdose"), "demo", "--home", home], cwd=empty, capture_output=True, text=True, timeout=100,
        env=_environment(HOME=str(empty), TMPDIR=str(empty)), check=False,
    )  # fmt: skip
    # Whether a busy machine took the print in late is judged by tests/cli/test_demo.py; here, whether all is there.
    late = re.fullmatch(r"uvdose: the demo failed: the exposure is finished at \S+% of its target\n", done.stderr)
    assert (done.returncode, done.stderr) == (0, "") or (done.returncode == 1 and late is not None), done
    assert "the same, bit for bit" in done.stdout and "CALL reached" in done.stdout
    for file, begins in (("day.html", b"<!doctype html>"), ("day.pdf", b"%PDF-")):
        subprocess.run(
            [python.with_name("uvdose"), "day", "--home", home, "--out", file], cwd=empty, capture_output=True,
            timeout=60, env=_environment(HOME=str(empty)), check=True,
        )  # fmt: skip
        assert (empty / file).read_bytes()[:20].lower().startswith(begins.lower())
