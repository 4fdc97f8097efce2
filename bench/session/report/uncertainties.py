"""What makes each reading uncertain: its sources of uncertainty, below a name that no other reading has."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bench.measure.catalogue import QUANTITIES
from bench.measure.stage import Stage
from bench.procedure.state.journal import ReadingRecord
from bench.words.budgets import budget_lines
from bench.words.names import short_stage
from bench.words.readings import reading_name, reading_text, state_words


@dataclass(frozen=True, slots=True)
class Uncertainties:
    """The sources of uncertainty of all readings."""

    lines: tuple[tuple[str, tuple[str, ...]], ...]
    """(reading, its sources)."""
    without: tuple[str, ...]
    """Quantities whose readings have an uncertainty, but no sources."""


def uncertainties(
    records: Sequence[ReadingRecord], names: Mapping[Stage, str], titles: Mapping[str, str]
) -> Uncertainties:
    """The sources of uncertainty of each reading.

    Args:
        records: the readings.
        names: names of the stages.
        titles: titles of the steps, by id.
    """
    known = {r.id: parts for r in records if (parts := budget_lines(r.reading))}
    lines = [r for r in records if r.id in known]
    often = Counter(_name(r, names) for r in lines)
    without = dict.fromkeys(
        QUANTITIES[r.reading.quantity].title.lower()
        for r in records
        if r.measured is not None and r.measured.uncertainty and r.id not in known
    )
    return Uncertainties(
        tuple((f"{_named(r, names, titles, often)}, {reading_text(r.reading)}", known[r.id]) for r in lines),
        tuple(without),
    )


def _named(r: ReadingRecord, names: Mapping[Stage, str], titles: Mapping[str, str], often: Mapping[str, int]) -> str:
    name = _name(r, names)
    return name if often[name] == 1 else f"{name}, {titles.get(r.step, r.step)}"


def _name(r: ReadingRecord, names: Mapping[Stage, str]) -> str:
    source = [r.source] if r.source != "machine" else []
    state = state_words(r.sent_db, r.lot, r.noise_reduction, r.direction)
    return ", ".join([reading_name(r.reading), *source, *state, short_stage(names[r.stage])])
