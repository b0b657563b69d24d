"""What a person types: numbers with points and commas, and densities of several kinds of reading."""

from __future__ import annotations

import pytest

from uvdose.calibrate.readings import how_understood, parse_numbers, to_densities
from uvdose.model import Refusal


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1.62 1.60 1.43", (1.62, 1.60, 1.43)),
        ("1.62, 1.60", (1.62, 1.60)),
        ("1.62,1.60,1.43", (1.62, 1.60, 1.43)),
        ("1.62 , 1.60,", (1.62, 1.60)),
        ("1,62; 1,60", (1.62, 1.60)),
        ("1.62;1.60;", (1.62, 1.60)),
        ("1,62 1,60", (1.62, 1.60)),
        ("1,62 1 0,9", (1.62, 1.0, 0.9)),
        ("1, 2, 3", (1.0, 2.0, 3.0)),
        ("210\t190\n35", (210.0, 190.0, 35.0)),
        ("1.62 - ? 0.4", (1.62, None, None, 0.4)),
        ("1.62, -, 0.4", (1.62, None, 0.4)),
        ("1,62; ?; 0,4", (1.62, None, 0.4)),
        ("-0.01 0.06", (-0.01, 0.06)),
        ("0.5", (0.5,)),
    ],
)
def test_numbers(text: str, numbers: tuple[float | None, ...]) -> None:
    assert parse_numbers(text) == numbers


@pytest.mark.parametrize("text", ["1,62,1,60", "1,62", "1,62, 1,60", "1.62 1,60", "12,14, 1.60", "1,2,3 4"])
def test_commas_that_can_be_read_in_two_ways_are_refused(text: str) -> None:
    with pytest.raises(Refusal, match="two ways: put semicolons"):
        parse_numbers(text)


@pytest.mark.parametrize("text", ["", "  ", "nan", "1.6 inf", "1.6 abc", "1.6;;1.4", "1.2.3", "1_0", "1e999"])
def test_what_is_no_number_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_numbers(text)
    assert refused.value.code == 2 and "\n" not in refused.value.line and "type" in refused.value.line


def test_reflectance_is_a_share_or_per_cent() -> None:
    """D = -log10 R, ISO 5 series."""
    assert to_densities([1.0, 0.1, None, 0.01], "reflectance") == pytest.approx((0, 1, None, 2))
    assert to_densities([100, 10, 1], "reflectance") == pytest.approx((0, 1, 2))
    assert "per cent" in how_understood([100, 10, 1], "reflectance")
    assert "shares" in how_understood([1.0, 0.1], "reflectance")


def test_grey_values_between_white_and_black() -> None:
    assert to_densities([1010, 110, 20], "grey", white=1010, black=10) == pytest.approx((0, 1, 2))
    assert to_densities([255, 127.5], "grey", white=255, gamma=2.2) == pytest.approx((0, 2.2 * 0.30103), abs=1e-5)
    assert how_understood([1], "grey", 255.0, None, 2.2) == (
        "grey values taken as with gamma 2.2, between black 0 (not given) and white 255"
    )


def test_densities_stay_as_they_are() -> None:
    assert to_densities([1.62, None, 0.06], "density") == (1.62, None, 0.06)
    assert how_understood([1.0], "density") == "densities taken as they are"


@pytest.mark.parametrize(
    ("values", "kind", "references", "line"),
    [
        ([162.0], "density", {}, "read it again"),
        ([float("nan")], "density", {}, "not a number"),
        ([0.0, 0.5], "reflectance", {}, "step 1: no reflectance"),
        ([10.0], "grey", {}, "need white"),
        ([10.0], "grey", {"white": 5.0, "black": 9.0}, "must lie above black"),
        ([10.0], "grey", {"white": 255.0, "black": 10.0}, "above black"),
        ([10.0], "grey", {"white": 255.0, "gamma": 0.0}, "gamma"),
        ([1.0], "colour", {}, "give density, reflectance or grey"),
    ],
)
def test_readings_that_cannot_be_meant(
    values: list[float], kind: str, references: dict[str, float], line: str
) -> None:
    with pytest.raises(Refusal, match=line) as refused:
        to_densities(values, kind, **references)
    assert refused.value.code == 2
