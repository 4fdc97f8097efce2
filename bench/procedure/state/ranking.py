"""Ranking of several tapes on one machine: by level, by treble and by what is heard with noise reduction.

Each figure is the error of the worse channel, in dB: of level from record to replay; of treble, the tone from 5 kHz
upwards with the largest error; of what is heard, the largest error that a noise-reduction decoder makes of the two. The
smallest error is best. Two figures that differ by less than their combined uncertainty, or less than `ALIKE_DB`, share
a rank.

What is heard through a decoder counts most: two small errors can add up or cancel. Where two tapes share a rank by it,
treble decides, then level.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from bench.measure.reading import Reading
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts
from bench.words.figures import with_uncertainty
from bench.words.sentences import capitalised, listed

Criterion = Literal["noise reduction", "treble", "level"]
CRITERIA: tuple[Criterion, ...] = get_args(Criterion)
"""In order of weight."""

TREBLE_HZ = 5000.0
ALIKE_DB = 0.2
"""Variation of level and treble along one tape. Common practice, no source."""


RANKED = (
    "The error of each tape in dB, replayed minus sent, of the worse channel; the smallest error is 1st. Noise "
    "reduction: the largest error that is heard through a decoder. Treble: 5 kHz and above, relative to the reference "
    f"tone. Alike: two errors that differ by less than {ALIKE_DB:g} dB (common practice, no source), or by less than "
    "their uncertainties together (k = 2), share a rank."
)
"""Explanation of the figures."""


@dataclass(frozen=True, slots=True)
class Figure:
    """The error of a tape by one criterion."""

    off_db: float
    """Error of the worse channel, with its sign."""
    uncertainty_db: float
    reading: Reading
    """The reading it comes from."""
    rank: int = 1
    """1 is best; tapes that cannot be told apart share a rank."""


@dataclass(frozen=True, slots=True)
class RankedTape:
    """A tape with its figures; a criterion without a reading is missing."""

    lot: str
    figures: dict[Criterion, Figure]


def ranking(records: Sequence[ReadingRecord]) -> tuple[RankedTape, ...]:
    """Rank tapes by what is heard with noise reduction, else by treble, else by level, best first.

    Args:
        records: records of a session. Readings without a lot, and those at as-found stages, do not count; nor do those
            of an owner's tape, whose sides are lots, because nobody knows what was sent to it.

    Returns:
        The tapes, best first; empty for fewer than two.
    """
    counted = [r for r in last_attempts(tuple(records)) if r.lot and r.stage == "left" and r.source == "record-replay"]
    lots = tuple(dict.fromkeys(r.lot for r in counted if r.measured is not None))
    if len(lots) < 2:
        return ()
    ranks = {by: _ranks({lot: _figure(by, [r for r in counted if r.lot == lot]) for lot in lots}) for by in CRITERIA}
    if not any(ranks.values()):
        return ()
    out = [RankedTape(lot, {by: ranks[by][lot] for by in CRITERIA if lot in ranks[by]}) for lot in lots]
    return tuple(sorted(out, key=_order))


def ranking_lines(ranked: Sequence[RankedTape]) -> tuple[str, ...]:
    """The best tape, then a line for each criterion: "by noise reduction, dB: blank B 1st, −0.40 ± 0.01; blank A …"."""
    if not ranked:
        return ()
    out = [best_words(ranked)]
    for by in CRITERIA:
        if any(by in r.figures for r in ranked):
            row = sorted(ranked, key=lambda r: r.figures[by].rank if by in r.figures else math.inf)
            out.append(f"by {by}, dB: " + "; ".join(f"{r.lot} {figure_words(ranked, r, by)}" for r in row))
    return tuple(out)


def best_words(ranked: Sequence[RankedTape]) -> str:
    """The tape that fits the machine best, and by which criterion: "A and B measure alike in noise reduction; …"."""
    said: list[str] = []
    first = [r.lot for r in ranked]
    for by in CRITERIA:
        there = {r.lot: r.figures[by].rank for r in ranked if r.lot in first and by in r.figures}
        if not there:
            continue
        first = [lot for lot, rank in there.items() if rank == min(there.values())]
        if len(first) == 1:
            said.append(f"{first[0]} fits best, by {by}")
            break
        said.append(f"{listed(first)} measure alike in {by}")
    return capitalised("; ".join(said))


def figure_words(ranked: Sequence[RankedTape], one: RankedTape, by: Criterion) -> str:
    """Rank and figure of a tape: "1st, −0.40 ± 0.01"; "1st alike, …" for a shared rank."""
    if by not in one.figures:
        return "not read"
    figure = one.figures[by]
    alike = sum(by in r.figures and r.figures[by].rank == figure.rank for r in ranked) > 1
    error = with_uncertainty(figure.off_db, "dB", figure.uncertainty_db, sign=True)
    return f"{_ordinal(figure.rank)}{' alike' if alike else ''}, {error}"


def _ordinal(rank: int) -> str:
    ending = "th" if rank % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(rank % 10, "th")
    return f"{rank}{ending}"


def _order(ranked: RankedTape) -> tuple[float, ...]:
    return tuple(ranked.figures[by].rank if by in ranked.figures else math.inf for by in CRITERIA)


def _figure(by: Criterion, records: Sequence[ReadingRecord]) -> Figure | None:
    """The worst reading of a tape by one criterion."""
    quantity = {"level": "record_replay_level", "treble": "response", "noise reduction": "heard_error"}[by]
    found = []
    for record in records:
        reading = record.measured
        if reading is None or reading.quantity != quantity:
            continue
        if by != "treble" or (reading.frequency_hz is not None and reading.frequency_hz >= TREBLE_HZ):
            found.append(Figure(reading.value - _aim(record), reading.uncertainty, reading))
    return max(found, key=lambda f: abs(f.off_db), default=None)


def _aim(record: ReadingRecord) -> float:
    """The value that means no error; 0 for a one-sided limit, such as that of distortion."""
    return record.verdict.target if record.verdict is not None and not record.verdict.limit else 0.0


def _ranks(figures: dict[str, Figure | None]) -> dict[str, Figure]:
    """Competition ranking: a tape that cannot be told from the best of a rank shares that rank."""
    row = sorted(((lot, f) for lot, f in figures.items() if f is not None), key=lambda item: abs(item[1].off_db))
    out: dict[str, Figure] = {}
    first: Figure | None = None
    for place, (lot, figure) in enumerate(row, start=1):
        if first is None or not _alike(first, figure):
            first = Figure(figure.off_db, figure.uncertainty_db, figure.reading, place)
        out[lot] = Figure(figure.off_db, figure.uncertainty_db, figure.reading, first.rank)
    return out


def _alike(a: Figure, b: Figure) -> bool:
    return abs(abs(a.off_db) - abs(b.off_db)) <= max(ALIKE_DB, math.hypot(a.uncertainty_db, b.uncertainty_db))
