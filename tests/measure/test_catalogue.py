"""The table of quantities: each has all its facts, and whatever it names exists."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest

import bench
from bench.measure.catalogue import CURVES, METERS, QUANTITIES, UNITS


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_quantity_has_all_its_facts(name: str) -> None:
    facts = QUANTITIES[name]
    assert facts.title[0].isupper()
    assert [q.title for q in QUANTITIES.values()].count(facts.title) == 1
    assert facts.unit in UNITS
    assert facts.meter in {*METERS, ""}
    assert len(set(facts.methods)) == len(facts.methods)
    assert facts.usual_method in {*facts.methods, ""}
    if facts.kept_beside:
        assert QUANTITIES[facts.kept_beside].meter == facts.meter
    assert facts.live_window_s > 0.0


@pytest.mark.parametrize("name", METERS)
def test_every_meter_is_a_class_and_its_module_a_page(name: str) -> None:
    module, _, of_class = METERS[name].partition(":")
    found = importlib.import_module(module)
    assert {"feed", "finish"} <= set(dir(getattr(found, of_class)))
    page = found.__doc__ or ""
    assert all(word in page for word in ("Source", "Accuracy")) or name == "everything"


def test_every_unit_is_one_of_a_quantity_or_of_a_difference() -> None:
    of_quantities = {q.unit for q in QUANTITIES.values()}
    assert set(UNITS) == of_quantities | {u.of_a_difference for u in UNITS.values() if u.of_a_difference}


def test_the_curves_are_those_that_are_drawn_so() -> None:
    assert set(CURVES) == {name for name, q in QUANTITIES.items() if q.drawn == "curve"}


def test_a_quantity_stands_in_the_table_and_on_its_page_alone() -> None:
    """No other code needs its name, except the readings in which exercises look for faults and those of a diagnosis."""
    files = {p.name for p in Path(bench.__file__).parent.rglob("*.py") if '"mono_sum"' in p.read_text(encoding="utf-8")}
    assert files == {"catalogue.py", "mono_sum.py", "exercise.py", "answer.py", "wiring.py"}
