"""The registry, and impossible options."""

from __future__ import annotations

import math
import subprocess
import sys
from typing import Any

import pytest

from bench.measure.catalogue import METERS
from bench.measure.meters import Options, make_meter
from bench.problem import Problem


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"frequency": 0.0}, "--frequency"),
        ({"frequency": -1.0}, "--frequency"),
        ({"nominal": math.nan}, "--nominal"),
        ({"frequencies": (100.0, math.inf)}, "--frequencies"),
        ({"frequencies": (100.0, 100.0)}, "--frequencies"),
        ({"frequencies": (100.0,), "sheet": ((100.0, -20.0),)}, "--sheet"),
        ({"sheet": ((-100.0, -20.0),)}, "--sheet"),
        ({"speed": 47.6}, "--track-spacing"),
        ({"track_spacing": 0.9}, "--speed"),
        ({"reference_level": math.inf}, "--reference-level"),
    ],
)
def test_an_impossible_option_is_named(options: dict[str, Any], named: str) -> None:
    with pytest.raises(Problem, match=named):
        make_meter("level", 48000.0, 2, options)


def test_possible_ones_pass() -> None:
    Options(frequency=1000.0, reference_level=-18.0, sheet=((315.0, -20.0),), speed=47.6, track_spacing=0.9).check()


def test_an_unknown_quantity_is_named_with_the_known_ones() -> None:
    with pytest.raises(Problem, match=r"there is no quantity loudness; there are level, response"):
        make_meter("loudness", 48000.0, 2)


def test_every_meter_is_there() -> None:
    for quantity in METERS:
        make_meter(quantity, 48000.0, 2, {"driven": "left", "frequency": 1000.0, "reference_level": -10.0})


def test_the_tones_need_neither_scipy_nor_numba() -> None:
    code = (
        "import sys\n"
        "from bench.measure.meters import make_meter\n"
        "import numpy as np\n"
        "for q in ('level', 'response', 'azimuth', 'speed'):\n"
        "    m = make_meter(q, 48000, 2); m.feed(np.zeros((48000, 2))); m.finish()\n"
        "print([n for n in ('scipy', 'numba', 'matplotlib', 'textual', 'soundfile', 'pydantic') if n in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
