"""One type for numbers that come alone or in arrays, and trigonometry in degrees."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
Numbers: TypeAlias = float | FloatArray


def numbers(value: Numbers) -> FloatArray:
    """The value as an array of floats; a single number becomes one without dimensions."""
    return np.asarray(value, dtype=np.float64)


def sind(degrees: Numbers) -> FloatArray:
    """Sine of degrees."""
    return np.asarray(np.sin(np.radians(degrees)), dtype=np.float64)


def cosd(degrees: Numbers) -> FloatArray:
    """Cosine of degrees."""
    return np.asarray(np.cos(np.radians(degrees)), dtype=np.float64)
