"""Made-up machines of which everything is known: what their heads and amplifiers do, and the sessions that read it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bench.clock import RehearsalClock
from bench.measure.reading import Channel, Reading
from bench.measure.stage import Stage
from bench.procedure.model.targets import Target, judge
from bench.procedure.state.events import Done, Turned
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.store import SessionStore
from tests.session.made_up import JOB, Source

SPEED, SPACING, WIDTH = 47.625, 0.9, 0.6
"""Cassette: mm/s, mm and mm (IEC 60094-7)."""
HZ = (63.0, 400.0, 2000.0, 6300.0, 10000.0)
READ_AT = datetime(2026, 5, 3, tzinfo=UTC)
AT = -12.0
"""Where a machine that is right reads, dBFS."""


@dataclass
class Machine:
    """A machine as it really is."""

    name: str
    heads: int = 2
    replay_db: float = 0.0
    """Its replay amplifier against the standard."""
    record_db: float = 0.0
    """What it leaves on tape against what was sent."""
    replay_treble_db: float = 0.0
    """At 10 kHz; in proportion to the frequency below."""
    record_treble_db: float = 0.0
    replay_tilt: float = 0.0
    """Minutes of arc."""
    record_tilt: float = 0.0
    """Of the record head; two heads have one for both."""
    fast_percent: float = 0.0
    uncertainty: float = 0.1
    speed_mm_s: float = SPEED
    sheet: dict[str, object] = field(default_factory=dict)

    @property
    def written_tilt(self) -> float:
        """Of what it writes."""
        return self.record_tilt if self.heads == 3 else self.replay_tilt


def exchange(a: Machine, b: Machine, hz: float) -> tuple[float, float]:
    """What a tape of A truly gives on B: level and response, dB, straight from the tilts and amplifiers."""
    level = a.record_db + b.replay_db
    treble = (a.record_treble_db + b.replay_treble_db) * hz / 10_000
    return level, treble + tilt_loss(a.written_tilt - b.replay_tilt, hz)


def tilt_loss(arcmin: float, hz: float) -> float:
    """20 lg|sin x / x|, x = π w tan α f / v; the textbook's form, written anew."""
    x = math.pi * WIDTH * math.tan(math.radians(arcmin / 60)) * hz / SPEED
    return 20 * math.log10(abs(math.sin(x) / x)) if x else 0.0


def delay(arcmin: float) -> float:
    """µs between the channels for a tilt."""
    return SPACING * math.tan(math.radians(arcmin / 60)) / SPEED * 1e6


def session(
    workspace: Path,
    m: Machine,
    when: datetime = datetime(2026, 5, 3, 10, 12, tzinfo=UTC),
    found: Machine | None = None,
) -> Path:
    """A finished session that read the machine exactly as it is, and as it was found before. Its folder."""
    sheets = workspace / "procedures" / "sheets" / "machines"
    sheets.mkdir(parents=True, exist_ok=True)
    facts = {"format": 1, "speed_mm_s": m.speed_mm_s, "track_spacing_mm": SPACING} | m.sheet
    sheet = sheets / f"{m.name.lower().replace(' ', '-')}.toml"
    sheet.write_text("".join(f"{k} = {v}\n" for k, v in facts.items()), encoding="utf-8")
    job = replace(JOB, machine=m.name, heads=m.heads, port_kind="", speed=f"{m.speed_mm_s} mm/s")
    store = SessionStore.create(workspace / "sessions", job, [sheet], RehearsalClock(when))
    if found is not None:
        _read(store, found, "found-clean")
        store.note(Turned("replay level left", (5.0,), step="s", time=READ_AT - timedelta(minutes=1)))
    _read(store, m, "left")
    store.note(Done())
    store.close()
    return store.folder


def _read(store: SessionStore, m: Machine, stage: Stage) -> None:
    u = m.uncertainty
    for channel in ("left", "right"):
        side: Channel = "left" if channel == "left" else "right"
        keep(store, stage, "reference tape", Reading("level", side, AT + m.replay_db, u, frequency_hz=315.0), target=AT)
        keep(
            store,
            stage,
            "record-replay",
            Reading("record_replay_level", side, m.record_db + m.replay_db, u, frequency_hz=400.0),
        )
        for hz in HZ:
            replay = m.replay_treble_db * hz / 10_000
            own = (m.record_treble_db + m.replay_treble_db) * hz / 10_000
            own += tilt_loss(m.written_tilt - m.replay_tilt, hz)
            # The standard's tape stands upright.
            keep(
                store,
                stage,
                "reference tape",
                Reading("response", side, replay + tilt_loss(m.replay_tilt, hz), u, frequency_hz=hz),
                -20.0,
            )
            keep(store, stage, "record-replay", Reading("response", side, own, u, frequency_hz=hz), -20.0)
    tilt = Reading("azimuth_delay", "left-right", -delay(m.replay_tilt), u, frequency_hz=10_000.0)
    keep(store, stage, "reference tape", tilt, -20.0)
    if m.heads == 3:
        own_tilt = Reading(
            "azimuth_delay", "left-right", delay(m.record_tilt) - delay(m.replay_tilt), u, frequency_hz=10_000.0
        )
        keep(store, stage, "record-replay", own_tilt, -20.0)
    keep(store, stage, "reference tape", Reading("speed_error", "both", m.fast_percent, u, frequency_hz=3150.0))


def keep(
    store: SessionStore, stage: Stage, source: Source, reading: Reading, sent_db: float = 0.0, *, target: float = 0.0
) -> None:
    """One reading."""
    verdict = judge(reading, Target(value=target, unit=reading.unit, tolerance=1.0, source="made up"))
    n = len(store.records()) + 1
    record = ReadingRecord(
        f"r{n:04d}",
        f"s-{stage}",
        stage,
        stage == "left",
        source,
        reading,
        verdict,
        READ_AT,
        sent_db,
    )
    store.keep((record,))
