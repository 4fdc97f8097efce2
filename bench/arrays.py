"""Types of arrays, by what they hold; the docstring of each use gives the shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
