"""How a method is put into words, and which of its facts make two readings comparable."""

from __future__ import annotations

import ast
from dataclasses import fields
from pathlib import Path

import pytest

import bench
from bench.measure.method import UNSTATED, Method

LEVEL = "mean level of the steady tone, tracking demodulator"

FACTS = [f for f in fields(Method) if f.metadata]


def sample(name: str) -> object:
    """A value for a fact, by its type."""
    kind = next(f.type for f in FACTS if f.name == name)
    if name in {"every_s", "interface_volts", "speed_mm_s"}:  # never negative
        return 1.5
    values = {"bool": True, "float | None": -1.5, "int | None": 3, "tuple[float, ...]": (50.0, 100.0)}
    return values.get(str(kind), "left")


def test_a_method_is_said_with_its_facts() -> None:
    one = Method(LEVEL, difference="replayed minus sent", interface_db=-0.2, half_of_loop=True, interface_volts=0.526)
    assert str(one) == (
        f"{LEVEL}, replayed minus sent; interface −0.20 dB, half of its loop; 526 mV (−3.4 dBu) at the interface"
    )
    tape = Method("A-weighted rms", nothing_sent=True, tape_db=0.2, certificate_db=-0.1)
    assert str(tape) == (
        "A-weighted rms; of tape recorded with nothing sent; reference tape ±0.2 dB, "
        "its certificate moves the target by −0.1 dB"
    )
    assert str(Method("m", tape_db=0.2913)) == "m; reference tape ±0.3 dB"
    assert str(Method("m", tape_percent=0.101)) == "m; reference tape ±0.11 %"
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
    assert "-" not in said.replace("whole-cycle", "").replace("full-track", "")


@pytest.mark.parametrize("name", [f.name for f in FACTS])
def test_only_figures_that_differ_each_time_do_not_part_two_readings(name: str) -> None:
    found_on_the_way = {
        "level_db", "seconds", "lines_hz", "worst_level_db", "held_beyond_hz", "level_sent_db", "response_sent_db",
        "replay_within_db", "interface_volts", "meter_vu", "other_us", "other_percent", "certificate_db", "insertions",
        "source_db", "replay_error_db",
    }  # fmt: skip
    one = Method("m", **{name: sample(name)})  # type: ignore[arg-type]
    assert (one.kind == Method("m")) == (name in found_on_the_way)


TAKES_APART = {
    "partition", "rpartition", "split", "rsplit", "startswith", "endswith", "removeprefix", "removesuffix",
    "search", "match", "fullmatch", "sub", "findall",
}  # fmt: skip


def is_method(node: ast.AST) -> bool:
    """Whether an expression is a reading's method, or its words."""
    return isinstance(node, ast.Attribute) and node.attr == "method" and ast.unparse(node.value).endswith("reading")


def taken_apart(source: str) -> list[int]:
    """The lines in which words are taken out of a reading's method."""
    lines = []
    for node in ast.walk(ast.parse(source)):
        call = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in TAKES_APART
        among = isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In | ast.NotIn)
        if (call or among) and any(is_method(n) for n in ast.walk(node)):
            lines.append(node.lineno)  # type: ignore[attr-defined]
    return lines


def test_no_code_takes_words_out_of_a_method() -> None:
    planted = "a = reading.method.partition(';')\nb = 'x' in r.reading.method\nc = re.search('x', str(reading.method))"
    assert taken_apart(planted) == [1, 2, 3]
    found = {
        f"{path.name}:{line}"
        for path in Path(bench.__file__).parent.rglob("*.py")
        for line in taken_apart(path.read_text(encoding="utf-8"))
    }
    assert found == set()
