"""Made-up machines with known heads and amplifiers, and sessions that read them."""

from __future__ import annotations

import cmath
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
"""Reading of a correct machine, dBFS."""


@dataclass
class Machine:
    """The true state of a machine."""

    name: str
    heads: int = 2
    replay_db: float = 0.0
    """Level error of its replay amplifier."""
    record_db: float = 0.0
    """Level error of its recording."""
    replay_treble_db: float = 0.0
    """At 10 kHz; proportional to frequency below."""
    record_treble_db: float = 0.0
    replay_tilt: float = 0.0
    """Minutes of arc."""
    record_tilt: float = 0.0
    """Tilt of the record head; on two heads the same head serves both."""
    fast_percent: float = 0.0
    uncertainty: float = 0.1
    speed_mm_s: float = SPEED
    sheet: dict[str, object] = field(default_factory=dict)

    @property
    def written_tilt(self) -> float:
        """Tilt of what it records."""
        return self.record_tilt if self.heads == 3 else self.replay_tilt


def exchange(a: Machine, b: Machine, hz: float) -> tuple[float, float]:
    """True level and response of a tape from A on B, dB, computed from the tilts and amplifiers."""
    level = a.record_db + b.replay_db
    treble = (a.record_treble_db + b.replay_treble_db) * hz / 10_000
    return level, treble + tilt_loss(a.written_tilt - b.replay_tilt, hz)


def tilt_loss(arcmin: float, hz: float) -> float:
    """20 lg|sin x / x|, x = π w tan α f / v; the textbook form, implemented independently."""
    x = math.pi * WIDTH * math.tan(math.radians(arcmin / 60)) * hz / SPEED
    return 20 * math.log10(abs(math.sin(x) / x)) if x else 0.0


def read_loss(arcmin: float, hz: float) -> float:
    """Loss of a tone in both channels: by tilt, and by crosstalk of one hundredth that is out of phase."""
    leak = 0.01 * cmath.exp(-2e-6j * math.pi * hz * delay(arcmin))
    return tilt_loss(arcmin, hz) + 20 * math.log10(abs(1 + leak) / 1.01)


def delay(arcmin: float) -> float:
    """Delay between the channels for a tilt, µs."""
    return SPACING * math.tan(math.radians(arcmin / 60)) / SPEED * 1e6


def session(
    workspace: Path,
    m: Machine,
    when: datetime = datetime(2026, 5, 3, 10, 12, tzinfo=UTC),
    found: Machine | None = None,
) -> Path:
    """Make a finished session that read the machine exactly, as found and as left. Returns its folder."""
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
            own += read_loss(m.written_tilt - m.replay_tilt, hz)
            # The reference tape has no tilt.
            keep(
                store,
                stage,
                "reference tape",
                Reading("response", side, replay + read_loss(m.replay_tilt, hz), u, frequency_hz=hz),
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
    """Keep one reading."""
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
