"""The method that a step names, compared with those that the meters report."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.catalogue import QUANTITIES
from bench.measure.quantities import hum
from bench.procedure.load.check_methods import check_method
from bench.procedure.model.steps import Measure


def _told(quantity: str, method: str = "") -> list[str]:
    step = {"kind": "measure", "id": "m", "title": "M", "do": "M.", "target": "machine.m", "method": method}
    return [
        f"{said}; {remedy}"
        for _, said, remedy, _ in check_method(Measure.model_validate(step | {"quantity": quantity}))
    ]


def test_the_methods_are_those_of_the_meters() -> None:
    t = np.arange(10 * 48000) / 48000.0
    one = 0.01 * np.sin(2 * np.pi * 50.0 * t) + 0.003 * np.sin(2 * np.pi * 150.0 * t)
    meter = hum.HumMeter(48000, 2)
    meter.feed(np.stack([one, one], axis=1).astype(np.float32))
    told = [r.method.name for r in meter.finish().readings]
    assert told
    assert all(method.startswith(QUANTITIES["hum"].methods) for method in told)


@pytest.mark.parametrize(("quantity", "methods"), [(name, q.methods) for name, q in QUANTITIES.items() if q.methods])
def test_each_is_taken_whole_and_whatever_its_letters(quantity: str, methods: tuple[str, ...]) -> None:
    for method in methods:
        assert _told(quantity, method) == []
        assert _told(quantity, method.upper()) == []


def test_one_that_no_meter_of_the_quantity_gives() -> None:
    assert _told("noise", "A-weigthed rms") == [
        '"A-weigthed rms" is not a method of noise; did you mean "A-weighted rms"?'
    ]
    assert "is not a method of thd" in _told("thd", "weighted rms")[0]
    assert _told("level", "A-weighted rms") == ["there is only one for level; take it out"]


def test_flutter_has_five_methods_and_one_target() -> None:
    assert "5 methods would be judged by one target" in _told("wow_and_flutter")[0]
    assert "is the name of 2 methods" in _told("wow_and_flutter", "IEC 60386")[0]
    assert _told("wow_and_flutter", "weighted rms") == []


def test_noise_has_four_methods_and_one_target() -> None:
    for quantity in ("noise", "signal_to_noise"):
        (said,) = _told(quantity)
        assert said.startswith("missing: 4 methods would be judged by one target; name the method, ")
        assert "is the name of 3 methods" in _told(quantity, "weighted")[0]
        assert _told(quantity, "ITU-R BS.468") == []


def test_where_there_is_a_usual_method_it_may_be_left_out() -> None:
    """Tape data sheets give harmonics relative to the fundamental; hum is the total (common practice, no source)."""
    assert _told("thd") == _told("hum") == []
