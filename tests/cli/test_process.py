"""`uvdose process`: what is commonly known, with its source and its cautions."""

from __future__ import annotations

import json

import pytest

from uvdose.cli.app import run


def test_every_process_is_told_with_its_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["process", "--json"]) == 0
    table = json.loads(capsys.readouterr().out)
    for known in table["processes"]:
        assert run(["process", known["name"]]) == 0
        told = " ".join(capsys.readouterr().out.split())
        assert known["judge"]["look"] in told and table["standing"] in told
        assert all(table["cautions"][key]["text"] in told for key in known["cautions"])


def test_an_unknown_process_lists_the_known(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["process", "woodcut"]) == 2
    assert "iron blue" in capsys.readouterr().err
