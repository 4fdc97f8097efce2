"""Matches found tones to the requested ones: by frequency, corrected for tape speed, then by level.

Takes of one frequency that differ by more than 3 dB belong to different sections of a tape, which only a sheet can
identify.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations

import numpy as np

from bench.figures import as_given, hertz
from bench.measure.tone.finding.finder import FoundTone
from bench.measure.tone.finding.peak_track import is_mains
from bench.measure.tone.meter import HUM_BELOW_DB, SEARCH_RANGE

MATCH_RANGE = 0.012
"""Greatest relative difference of a tone from its nominal frequency, corrected for speed; our own choice."""
OVERLAP_S = 0.3
"""Tones that overlap by this count as simultaneous; our own choice."""
SECTIONS_DB = 3.0
"""Takes whose levels differ by more belong to different sections of the tape; our own choice."""


@dataclass(frozen=True, slots=True)
class Match:
    """The tone that matches a frequency, or the reason for its absence: "" if it was simply not found."""

    tone: FoundTone | None = None
    nominal_db: float = 0.0
    reason: str = ""


def common_speed(tones: Sequence[FoundTone], nominal: Sequence[float]) -> float:
    """The speed factor that most tones share; among equals the one nearest to 1."""
    ratios = [t.frequency_hz / hz for t in tones for hz in nominal if abs(t.frequency_hz / hz - 1.0) <= SEARCH_RANGE]
    if not ratios:
        return 1.0

    def fit(ratio: float) -> tuple[int, float]:
        hit = sum(any(abs(t.frequency_hz / (ratio * hz) - 1.0) < MATCH_RANGE / 2 for t in tones) for hz in nominal)
        return hit, -abs(float(np.log(ratio)))

    best = max(ratios, key=fit)
    return float(np.median([r for r in ratios if abs(r / best - 1.0) < MATCH_RANGE / 2]))


def takes_of(tones: Sequence[FoundTone], hz: float, speed: float, nominal: Sequence[float]) -> list[FoundTone]:
    """The takes of one nominal frequency, oldest first."""
    near = [t for t in tones if abs(t.frequency_hz / (hz * speed) - 1.0) < MATCH_RANGE and not _hum_beside(t, tones)]
    if not near:
        near = [
            t
            for t in tones
            if abs(t.frequency_hz / hz - 1.0) <= SEARCH_RANGE
            and not is_mains(t.frequency_hz)
            and min(nominal, key=lambda n: abs(np.log(t.frequency_hz / n / speed))) == hz
        ]
    loudest = max((t.dbfs for t in near), default=0.0)
    longest = max((t.duration_s for t in near), default=0.0)
    return [
        t
        for t in near
        if t.duration_s > min(0.6, 0.5 * longest) and not (is_mains(t.frequency_hz) and t.dbfs < loudest - HUM_BELOW_DB)
    ]


def _hum_beside(tone: FoundTone, tones: Sequence[FoundTone]) -> bool:
    """Whether a tone at a mains frequency overlaps a louder one, because the tones of a tape are consecutive."""
    return is_mains(tone.frequency_hz) and any(
        min(tone.end_s, t.end_s) - max(tone.start_s, t.start_s) > OVERLAP_S and t.dbfs > tone.dbfs + HUM_BELOW_DB / 2
        for t in tones
        if t is not tone
    )


def match_list(tones: Sequence[FoundTone], nominal: Sequence[float]) -> tuple[dict[float, Match], list[str]]:
    """The tone for each nominal frequency, if no sheet gives levels.

    Returns:
        A match for each frequency, and warnings about multiple takes.
    """
    speed = common_speed(tones, nominal)
    out: dict[float, Match] = {}
    warnings: list[str] = []
    for hz in nominal:
        takes = takes_of(tones, hz, speed, nominal)
        if not takes:
            out[hz] = Match()
            continue
        levels = sorted(t.dbfs for t in takes)
        if levels[-1] - levels[0] > SECTIONS_DB:
            found = " and ".join(f"{v:.1f}" for v in (levels[0], levels[-1]))
            out[hz] = Match(
                reason=f"{hertz(hz)} is there at two levels, {found} dBFS: name the tape's sheet with --sheet"
            )
            continue
        out[hz] = Match(better(takes))
        if len(takes) > 1:
            warnings += _differing(hz, takes, out[hz].tone)
    return out, warnings


def better(takes: Sequence[FoundTone]) -> FoundTone:
    """The take with the least uncertain level."""
    return min(takes, key=lambda t: min(c.dbfs_noise for c in t.tones if c.present))


def _differing(hz: float, takes: Sequence[FoundTone], chosen: FoundTone | None) -> list[str]:
    found = ", ".join(
        f"{' / '.join(f'{c.dbfs:.2f}' for c in t.tones)} dBFS at {t.start_s:.1f} s{' (used)' if t is chosen else ''}"
        for t in takes
    )
    return [f"{hertz(hz)} was found in {len(takes)} takes: {found}"]


def match_sheet(
    tones: Sequence[FoundTone], sheet: Sequence[tuple[float, float]], reference: float
) -> tuple[dict[float, Match], list[str]]:
    """The tone for each frequency of a sheet, by frequency, level and order.

    Args:
        tones: the tones found, oldest first.
        sheet: Hz and nominal dB, in the order of the tape.
        reference: the reference frequency.

    Returns:
        One match for each frequency. If the sheet has a frequency at several levels, the match is at the level that
        most of the sheet's frequencies have.
    """
    nominal = list(dict.fromkeys([*(hz for hz, _ in sheet), reference]))
    speed = common_speed(tones, nominal)
    groups = {hz: takes_of(tones, hz, speed, nominal) for hz in nominal}
    offset = _common_offset(groups, sheet)
    series = _usual_level(sheet)
    out: dict[float, Match] = {}
    for hz, takes in groups.items():
        sections = [db for h, db in sheet if h == hz]
        if not sections:
            out[hz] = Match(reason=f"the sheet has no tone of {hertz(hz)}")
            continue
        assigned = _assign(takes, [db + offset for db in sections])
        wanted = min(range(len(sections)), key=lambda n: (abs(sections[n] - series), n))
        tone = assigned[wanted]
        if tone is None:
            out[hz] = Match(reason=f"no tone of {hertz(hz)} at {as_given(sections[wanted])} dB was found")
        else:
            out[hz] = Match(tone, sections[wanted])
    return out, []


def _usual_level(sheet: Sequence[tuple[float, float]]) -> float:
    levels = [db for _, db in dict.fromkeys(sheet)]
    return max(dict.fromkeys(levels), key=levels.count)


def _common_offset(groups: dict[float, list[FoundTone]], sheet: Sequence[tuple[float, float]]) -> float:
    """The level in dBFS of the sheet's 0 dB that fits most tones."""
    offsets = [t.dbfs - db for hz, db in sheet for t in groups[hz]]
    if not offsets:
        return 0.0

    def fit(offset: float) -> float:
        return sum(
            min([min(abs(t.dbfs - db - offset), 6.0) for t in groups[hz]] or [6.0]) for hz, db in dict.fromkeys(sheet)
        )

    return min(offsets, key=fit)


def _assign(takes: Sequence[FoundTone], levels: Sequence[float]) -> list[FoundTone | None]:
    """Assign a take to each section: the least difference in level, then in order; an exhaustive search."""
    pool: list[FoundTone | None] = [*takes[:6], *[None] * len(levels)]
    best: tuple[float, list[FoundTone | None]] = (np.inf, [None] * len(levels))
    for way in dict.fromkeys(permutations(range(len(pool)), len(levels))) if len(levels) <= 3 else []:
        chosen = [pool[n] for n in way]
        cost = sum(12.0 if t is None else abs(t.dbfs - db) for t, db in zip(chosen, levels, strict=True))
        starts = [t.start_s for t in chosen if t is not None]
        cost += 0.5 * sum(a > b for a, b in pairwise(starts))
        if cost < best[0] - 1e-9:
            best = (cost, chosen)
    if len(levels) > 3:
        return [min(takes, key=lambda t: abs(t.dbfs - db), default=None) for db in levels]
    return best[1]
