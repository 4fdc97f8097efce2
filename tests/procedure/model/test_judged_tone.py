"""Which tone a step judges: the same for gauge, verdict, check and hands."""

from __future__ import annotations

from typing import Any

import pytest

from bench.procedure.load.library import Library
from bench.procedure.model.steps import Adjust, Measure
from bench.workspace import Workspace, shipped_procedures

ANY = {"id": "step", "title": "a step", "do": "Do it."}
ADJUST: dict[str, Any] = ANY | {"kind": "adjust", "target": "machine.x", "trimmers": {"left": "bias left"}}
MEASURE: dict[str, Any] = ANY | {"kind": "measure"}
TONES = ({"hz": 400.0, "db": -20.0}, {"hz": 10000.0, "db": -20.0}, {"hz": 1000.0, "db": -20.0})


@pytest.mark.parametrize(
    ("step", "hz"),
    [
        (ADJUST | {"quantity": "response", "sends": TONES, "frequency": 1000.0}, 1000.0),
        (ADJUST | {"quantity": "level", "plays": "level-400"}, 400.0),
        (ADJUST | {"quantity": "overbias", "sends": TONES}, 10000.0),
        # The probe that is sent with a single tone of 1 kHz lies above it and is not what is judged.
        (ADJUST | {"quantity": "overbias", "sends": TONES[2:]}, 1000.0),
        (ADJUST | {"quantity": "azimuth_delay", "programme": True}, None),
        (MEASURE | {"quantity": "third_harmonic", "sends": TONES[:1]}, 400.0),
        # 315 Hz on a cassette: IEC 60094, data sheets.
        (MEASURE | {"quantity": "maximum_output_level"}, 315.0),
        (MEASURE | {"quantity": "noise", "records": "silence"}, None),
    ],
)
def test_the_tone_that_is_judged(step: dict[str, Any], hz: float | None) -> None:
    job = Library(Workspace(shipped_procedures().parent)).load_job("proof")
    model = Adjust if step["kind"] == "adjust" else Measure
    assert job.judged_hz(model.model_validate(step)) == hz
