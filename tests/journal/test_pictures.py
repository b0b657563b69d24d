"""Pictures of prints: known by their bytes, proven by their hash, whole or not there, never outside their folder."""

from __future__ import annotations

import io
import os
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from cli.conftest import environment
from PIL import Image

from uvdose.journal import pictures
from uvdose.journal.pictures import MOST_BYTES, keep, kept_bytes, picture_kind, prove
from uvdose.model import Refusal
from uvdose.notes import Picture, checked

# NIST's examples for FIPS 180-4 (one block, two blocks), and the million of `a` of FIPS 180-2; from memory.
NIST = [
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
     "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"),
    (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
]  # fmt: skip


def _image(kind: str, side: int = 40) -> bytes:
    """A picture that another program's library writes."""
    file = io.BytesIO()
    Image.radial_gradient("L").resize((side, side)).convert("RGB").save(file, kind)
    return file.getvalue()


def _ftyp(major: bytes, *compatible: bytes) -> bytes:
    """The first box of a file by ISO/IEC 14496-12, 4.3: size, type, major brand, version, compatible brands."""
    body = b"ftyp" + major + bytes(4) + b"".join(compatible)
    return (len(body) + 4).to_bytes(4, "big") + body + b"\0\0\0\x08mdat"


@pytest.fixture
def jpeg(tmp_path: Path) -> Path:
    path = tmp_path / "print.jpg"
    path.write_bytes(_image("JPEG", 400))
    return path


@pytest.mark.parametrize(("content", "digest"), NIST, ids=lambda v: str(len(v)))
def test_the_hash_is_nists(tmp_path: Path, content: bytes, digest: str) -> None:
    picture = Picture(digest, "jpg", len(content))
    (tmp_path / picture.name(3)).write_bytes(content)
    assert prove(tmp_path, 3, picture) == "whole"
    (tmp_path / picture.name(3)).write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
    assert prove(tmp_path, 3, picture) == "changed"


@pytest.mark.parametrize(("written", "kind"), [("JPEG", "jpg"), ("PNG", "png"), ("WEBP", "webp")])
def test_pictures_of_another_library_are_known(written: str, kind: str) -> None:
    assert picture_kind(_image(written)[:64]) == kind


@pytest.mark.parametrize(("head", "kind"), [
    (_ftyp(b"heic", b"mif1", b"heic"), "heic"), (_ftyp(b"mif1", b"mif1", b"heic"), "heic"),
    (_ftyp(b"heix"), "heic"), (_ftyp(b"avif", b"mif1", b"miaf"), None), (_ftyp(b"isom", b"mp42"), None),
    (_ftyp(b"isom", b"mp42")[:-8] + b"heic", None), (b"\0\0\0\0ftypheic", None),
    (b"\xff\xd8\xff\xe1", "jpg"), (b"\xff\xd8", None), (b"\x89PNG\r\n\x1a\n", "png"), (b"\x89PNG\n\x1a\n", None),
    (b"RIFF\x10\0\0\0WEBPVP8 ", "webp"), (b"RIFF\x10\0\0\0WAVEfmt ", None), (b"<svg", None), (b"GIF89a", None),
    (b"#!/bin/sh", None), (b"", None),
])  # fmt: skip
def test_what_the_first_bytes_say(head: bytes, kind: str | None) -> None:
    assert picture_kind(head) == kind


def test_kept_under_number_and_hash(tmp_path: Path, jpeg: Path) -> None:
    folder = tmp_path / "home" / "pictures"
    picture = keep(folder, 12, jpeg)
    told = subprocess.run(["sha256sum", jpeg], capture_output=True, text=True, check=True).stdout.split()[0]
    [kept] = folder.iterdir()
    assert kept.name == f"12-{told}.jpg" and kept.read_bytes() == jpeg.read_bytes() and picture.sha256 == told
    assert kept.stat().st_mode & 0o077 == 0 and folder.stat().st_mode & 0o077 == 0
    assert keep(folder, 12, jpeg) == picture and kept_bytes(folder) == (1, jpeg.stat().st_size)
    assert prove(folder, 12, picture) == "whole" and prove(folder, 13, picture) == "gone"
    kept.write_bytes(b"\xff\xd8\xff")
    assert prove(folder, 12, picture) == "changed"
    keep(folder, 12, jpeg)
    assert prove(folder, 12, picture) == "whole", "given again it is mended"
    assert prove(tmp_path / "none", 12, picture) == "gone" and kept_bytes(tmp_path / "none") == (0, 0)


def test_what_is_no_ordinary_picture_is_refused(tmp_path: Path, jpeg: Path) -> None:
    folder = tmp_path / "pictures"
    link, pipe, big, text, sock = (tmp_path / name for name in ("link", "pipe", "big.jpg", "text.jpg", "socket"))
    link.symlink_to(jpeg)
    os.mkfifo(pipe)
    text.write_text("no picture")
    with big.open("wb") as file:
        file.write(b"\xff\xd8\xff\xe0")
        file.truncate(MOST_BYTES + 1)
    bound = socket.socket(socket.AF_UNIX)
    bound.bind(str(sock))
    for source, why in ((link, "link"), (pipe, "no ordinary file"), (big, "at most 64 MB"), (text, "no picture"),
                        (tmp_path, "no ordinary file"), (tmp_path / "none", "No such file"), (sock, "cannot be read"),
                        (Path("/dev/zero"), "no ordinary file")):  # fmt: skip
        with pytest.raises(Refusal, match=why):
            keep(folder, 1, source)
    bound.close()
    assert not folder.exists()


def test_the_folder_is_no_link_and_no_name_leads_out_of_it(tmp_path: Path, jpeg: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (tmp_path / "pictures").symlink_to(elsewhere)
    with pytest.raises(Refusal, match="cannot keep a picture"):
        keep(tmp_path / "pictures", 1, jpeg)
    assert list(elsewhere.iterdir()) == []
    folder = tmp_path / "own"
    picture = keep(folder, 1, jpeg)
    (folder / picture.name(1)).unlink()
    victim = tmp_path / "victim"
    victim.write_bytes(jpeg.read_bytes())
    (folder / picture.name(1)).symlink_to(victim)
    assert prove(folder, 1, picture) == "changed", "a link is not what was kept, whatever it leads to"
    keep(folder, 1, jpeg)
    assert not (folder / picture.name(1)).is_symlink() and victim.read_bytes() == jpeg.read_bytes()
    for sha256 in ("../" * 21 + "a", "A" * 64, "a" * 63, "a" * 64 + "\n", ""):
        with pytest.raises(Refusal) as err:
            checked("print", {"picture": {"sha256": sha256, "kind": "jpg", "bytes": 3}})
        assert err.value.code == 2
    with pytest.raises(Refusal):
        checked("print", {"picture": {"sha256": "a" * 64, "kind": "/../x", "bytes": 3}})


@pytest.mark.parametrize("at", ["write", "fsync", "rename"])
def test_killed_on_the_way_nothing_half_is_left(tmp_path: Path, jpeg: Path, at: str) -> None:
    """The process kills itself as the file is half written, written and not synced, or synced and not named."""
    folder = tmp_path / "pictures"
    script = f"""
import io, os, signal, sys
from pathlib import Path
from uvdose.journal import pictures
die = lambda *_, **__: os.kill(os.getpid(), signal.SIGKILL)
if {at!r} == "write":
    real = os.fdopen
    def half(handle, mode):
        if mode == "wb":
            os.write(handle, Path(sys.argv[2]).read_bytes()[:1000])
            die()
        return real(handle, mode)
    os.fdopen = half
else:
    setattr(os, {at!r}, die)
pictures.keep(Path(sys.argv[1]), 7, Path(sys.argv[2]))
"""
    ran = subprocess.run([sys.executable, "-c", script, folder, jpeg], env=environment(), timeout=30)
    assert ran.returncode == -signal.SIGKILL
    assert kept_bytes(folder) == (0, 0) and all(p.name.startswith(".") for p in folder.iterdir())
    assert list(folder.iterdir()), "it did die on the way"
    picture = keep(folder, 7, jpeg)
    assert [p.name for p in folder.iterdir()] == [picture.name(7)], "and what it left is taken away"


def test_a_disk_that_is_full_leaves_nothing(tmp_path: Path, jpeg: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pictures.os, "fsync", full)
    with pytest.raises(Refusal, match="No space left on device; nothing of it is left"):
        keep(tmp_path / "pictures", 1, jpeg)
    assert list((tmp_path / "pictures").iterdir()) == []


def test_many_at_once_each_whole(tmp_path: Path) -> None:
    sources = []
    for i in range(8):
        sources.append(tmp_path / f"{i}.png")
        sources[-1].write_bytes(_image("PNG", 30 + i))
    folder = tmp_path / "pictures"
    threads = [threading.Thread(target=keep, args=(folder, i % 2 + 1, source)) for i, source in enumerate(sources)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert kept_bytes(folder) == (8, sum(s.stat().st_size for s in sources))
    assert not list(folder.glob(".*"))
