"""A dry sheet of several layers is known by the numbers on its back."""

from __future__ import annotations

import msgspec

from uvdose.messages import ExposureDoc
from uvdose.notes import Edition, Layer
from uvdose.review.editions import EditionDoc

PRINT = ExposureDoc(
    22, "one", 1, "sill", "1", "finished", "mJ/cm2", 150.0, 150.0, 149.0, 151.0, 1.0, 60.0, 0.0, 0.0, 0.0, 0.0, None,
    None, None, None, [], [], True,
)


def test_the_layers_before_give_the_numbers() -> None:
    done = {"1/1": PRINT, "1/2": msgspec.structs.replace(PRINT, id=25)}
    layers = (Layer("one", 1), Layer("two", 1), Layer("three", 1))
    doc = EditionDoc("fans", Edition(2, layers, 0.17, ""), done, (), None)
    assert [doc.numbers(1, layer) for layer in (1, 2, 3)] == [[], [22], [22, 25]]
    assert doc.numbers(2, 3) == []
