"""Framing, answers and refusals, from `shared/wire/vectors.json` and firmware_notes/wire-format.md; and a fuzz."""

import json

import wire
from common import HOW, Dice, ask, fields, make


def raw(text):
    return bytes(ord(c) for c in text)


def vectors():
    with open(HOW["vectors"]) as file:
        return json.load(file)


def case_vectors_crc():
    crc = vectors()["crc"]
    assert "{:04X}".format(wire.crc16(crc["check_of"].encode())) == crc["check"]


def case_vectors_readings():
    """The proof is taken; and a line made of the fields holds the very fields, in this one canonical spelling."""
    same = 0
    for v in vectors()["readings"]:
        assert wire.unframe(raw(v["line"])), v
        n = [int(v[k]) for k in ("boot", "seq", "uptime_ms", "level_milli", "register", "sat_ms", "presses", "flags")]
        made = wire.frame(wire.reading(*n))
        found = fields(made)
        whole, _, part = found["level"].partition(".")
        assert [found[k] for k in ("boot", "seq", "uptime", "register", "sat", "presses", "flags")] == n[:3] + n[4:]
        assert int(whole) * 1000 + int((part + "000")[:3]) == n[3], v
        same += made.rstrip(b"\n") == raw(v["line"])
    assert same >= 5


def case_vectors_answers():
    for v in vectors()["answers"]:
        assert wire.frame(v["text"]) == raw(v["line"] + "\n"), v
        assert wire.unframe(raw(v["line"])) == v["text"], v


def case_vectors_invalid():
    """A node hears no readings; of what is no line at all its frame must let nothing through."""
    seen = 0
    for v in vectors()["invalid"]:
        if v["reason"] in ("checksum", "no checksum"):
            seen += 1
            assert wire.unframe(raw(v["line"])) is None, v
    assert seen > 10


def case_vectors_commands():
    for v in vectors()["commands"]:
        node = make()
        node.sample(5, False, 0)
        node.out.clear()
        assert wire.frame(v["text"]) == raw(v["line"]), v
        for ending in ("\n", "\r\n", ""):
            node.command(raw(v["line"].rstrip("\n") + ending), 1)
        answers = [wire.unframe(line) for line in node.out if not line.startswith(b"uv1,")]
        name = v["text"].split()[0]
        more = {"who": " sill 1 ltr390 3x100ms 262143 0", "arm": v["text"][3:], "slot": v["text"][4:] + " -"}
        assert answers == ["ok " + name + more.get(name, "")] * 3, (v, answers)


def case_vectors_refused_commands():
    for line in vectors()["refused_commands"]:
        node = make()
        node.command(raw(line) + b"\n", 1)
        assert node.out == ([wire.frame("err checksum")] if line.strip() else []), line


def case_answers_to_wrong_commands():
    """firmware_notes/wire-format.md: `unknown`, `arguments`, `value`, and `sensor` where no line can be sent."""
    node = make()
    wanted = (
        ("sing", "unknown"), ("WHO", "unknown"), ("who 1", "arguments"), ("buzz 1", "arguments"),
        ("arm 1 2", "arguments"), ("buzz 0 1", "value"), ("buzz 8 1", "value"), ("buzz 1 3601", "value"),
        ("buzz 1 -1", "value"), ("buzz 1 nan", "value"), ("buzz 1 1e1", "value"), ("buzz 1 1.", "value"),
        ("arm 4 1 1", "value"), ("arm 0 9223372036854775808 1", "value"), ("arm 0 1 0", "value"),
        ("disarm 4", "value"), ("slot 4", "value"), ("slot", "arguments"),
        ("lease 86401", "value"), ("rate 0.09", "value"), ("rate 10.1", "value"),
        ("rate x", "value"), ("now", "sensor"),
    )  # fmt: skip
    for text, reason in wanted:
        assert ask(node, text, 1)[0] == "err " + reason, text
    node.command(b"\n \r\n", 2)
    assert node.out == []
    for text in ("buzz 7 0.5", "buzz 1 3600", "rate 0.1", "rate 10", "lease 0", "lease 86400", "disarm 3", "disarm 3"):
        assert ask(node, text, 3)[0] == "ok " + text.split()[0], text


def case_fuzz_of_commands():
    """Whatever comes: each line that is not empty has one answer of the page's list, and the light counts on."""
    dice, node = Dice(11), make(rate_milli=100)
    node.sample(3, False, 0)
    names = ("who", "now", "buzz", "quiet", "arm", "disarm", "slot", "lease", "rate", "",
             "Who", "arm\t", "uv1,0", "*", "\xe9")
    args = ("", "0", "1", "3", "4", "7", "9", "60", "0.5", "-1", "1e9", "nan", "9" * 19, "9" * 40, ".", "1_0", "0x1")
    total = 0
    for now in range(1, HOW["fuzz"] + 1):
        words = [names[dice(len(names))]] + [args[dice(len(args))] for _ in range(dice(5))]
        text = " ".join(words)
        kind = dice(8)
        line = wire.frame(text) if kind else bytes(dice(256) for _ in range(dice(300)))
        if kind == 1:
            at = dice(len(line))
            line = line[:at] + bytes((dice(256),)) + line[at + 1 :]
        total += 3
        node.out.clear()
        node.advance(now)
        node.out.clear()
        node.command(line, now)
        answers = [wire.unframe(said) for said in node.out if not said.startswith(b"uv1,")]
        assert len(answers) == sum(1 for part in line.split(b"\n") if part.strip()), line
        for answer in answers:
            head = answer.split()
            assert (head[0] == "ok" and head[1] in names[:9]) or answer in (
                "err checksum", "err unknown", "err arguments", "err value"
            ), answer  # fmt: skip
        if now % 100 == 0:
            node.sample(3, False, now)
            assert node.register() == total
