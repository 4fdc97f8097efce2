"""A method is said in words, and which of its facts make two readings comparable."""

from __future__ import annotations

from dataclasses import fields

import pytest

from bench.measure.method import UNSTATED, Method

LEVEL = "mean level of the steady tone, tracking demodulator"

FACTS = [f for f in fields(Method) if f.metadata]


def sample(name: str) -> object:
    """A value of a fact by what it holds."""
    kind = next(f.type for f in FACTS if f.name == name)
    if name in {"every_s", "interface_volts"}:  # never negative
        return 1.5
    values = {"bool": True, "float | None": -1.5, "int | None": 3, "tuple[float, ...]": (50.0, 100.0)}
    return values.get(str(kind), "left")


def test_a_method_is_said_with_its_facts() -> None:
    one = Method(LEVEL, difference="replayed minus sent", interface_db=-0.2, half_of_loop=True, interface_volts=0.526)
    assert str(one) == (f"{LEVEL}, replayed minus sent; interface −0.20 dB, half of its loop; 526 mV at the interface")
    tape = Method("A-weighted rms", nothing_sent=True, tape_db=0.2, certificate_db=-0.1)
    assert str(tape) == (
        "A-weighted rms; of tape recorded with nothing sent; reference tape ±0.2 dB, "
        "its certificate moves the target by −0.1 dB"
    )
    assert str(Method("line", every_s=0.0607, part="capstan", per_turn=2)) == (
        "line; comes round every 60.7 ms, as the capstan does, 2 times a turn"
    )
    assert str(Method("hum", lines_hz=(50.0, 100.1))) == "hum: 50, 100 Hz"
    assert str(UNSTATED) == ""


@pytest.mark.parametrize("name", [f.name for f in FACTS])
def test_every_fact_is_said(name: str) -> None:
    said = str(Method("m", **{name: sample(name)}))  # type: ignore[arg-type]
    assert said.startswith("m")
    assert len(said) > len("m; x")
    assert "-" not in said.replace("whole-cycle", "")


@pytest.mark.parametrize("name", [f.name for f in FACTS])
def test_only_figures_that_differ_each_time_do_not_part_two_readings(name: str) -> None:
    found_on_the_way = {
        "level_db", "seconds", "lines_hz", "worst_level_db", "held_beyond_hz", "level_sent_db", "response_sent_db",
        "replay_within_db", "interface_volts", "certificate_db",
    }  # fmt: skip
    one = Method("m", **{name: sample(name)})  # type: ignore[arg-type]
    assert (one.kind == Method("m")) == (name in found_on_the_way)
