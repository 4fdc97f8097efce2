"""Reads the quantity of an adjust step on each channel."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import replace

from bench.audio.port import Samples
from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.measure.quantities.azimuth import POLARITY_HZ, azimuth_of_tones, shows_polarity
from bench.measure.quantities.hum_watch import MAINS_HZ
from bench.measure.quantities.live_tone import ToneWatch, WatchState
from bench.measure.reading import Channel, NoReading, Reading, ReferenceTone, Result
from bench.problem import Problem
from bench.procedure.kinds.bench import Bench, JudgedReading
from bench.procedure.kinds.correct.interface import corrected
from bench.procedure.kinds.correct.owners_tape import relative_to_label
from bench.procedure.kinds.correct.reference_tape import difference, expected_dbfs, recorded_level, sent_text, with_tape
from bench.procedure.kinds.correct.source import source_db
from bench.procedure.model.sheets import Section
from bench.procedure.model.steps import Adjust
from bench.procedure.model.targets import Target
from bench.procedure.state.journal import ReadingSource, newest
from bench.procedure.state.snapshot import Gauge
from bench.signals.tones import Multitone, Tone

TURNED_ROUND = "one channel's polarity is inverted: it is taken out of the delay; check the wiring"
POLARITY_UNKNOWN = (
    f"polarity is not known: play a tone of {hertz(POLARITY_HZ)} or lower first; if one channel is inverted, this "
    "delay is wrong by half a period"
)

MAINS_WITHIN_HZ = 2.0
"""A tone this close to the mains frequency is hum, which is found after every section."""
PROBE_BELOW_DB = 12.0
"""Over-bias with one tone: a probe tone is sent this far below it, at `PROBE_HZ`. The level of the tone relative to
the probe falls as bias rises, which shows the direction of more bias."""
PROBE_HZ = 1000.0


class AdjustReader(ABC):
    """Reads the quantity of an adjust step, and knows which trimmer sets it."""

    source: ReadingSource = "machine"

    def __init__(self, step: Adjust, bench: Bench) -> None:
        self._step, self._bench = step, bench
        self.target: Target = bench.job.target(step.target)
        self.judged_hz: float | None = None
        """Frequency of the tone that is judged; None for programme."""
        self.sent_db: float | None = None
        """Its level, dB re the reference level."""

    @abstractmethod
    def begin(self, window_s: float | None = None) -> None:
        """Start to listen; a reading is taken over the last `window_s` seconds, None for the usual time."""

    @abstractmethod
    def feed(self, samples: Samples) -> None:
        """Take in sound."""

    @abstractmethod
    def readings(self) -> list[tuple[Result, float]]:
        """The present reading of each channel, and the offset of its target."""

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels on which the quantity is read."""
        if self._step.quantity == "azimuth_delay":
            return ("left-right",)
        if self._step.quantity == "speed_error":
            return ("both",)
        return ("left", "right") if self._bench.port.status.channels > 1 else ("mono",)

    def treble(self, side: Channel) -> float | None:
        """Level of the judged tone relative to the lower tone, dB; None where none is sent. It falls as bias rises."""
        return None

    def trimmer(self, channel: Channel) -> str | None:
        """The trimmer that sets a channel; None without one."""
        trimmers = self._step.trimmers
        if channel in ("left", "right") and channel in trimmers:
            return trimmers[channel]
        return trimmers.get("both")

    @property
    def trimmers(self) -> tuple[str, ...]:
        """All trimmers of the step, without repeats."""
        return tuple(dict.fromkeys(t for t in (self.trimmer(c) for c in self.channels) if t is not None))

    @property
    def tolerance(self) -> float:
        """Tolerance of the target at the judged tone, plus or minus.

        Raises:
            Problem: the target is a one-sided limit, or has no tolerance at that frequency.
        """
        found = self.target.tolerance_at(self.judged_hz)
        if found is None:
            raise Problem(f"step {self._step.id}: {self._step.target} has no tolerance, and nothing can be set to it")
        return found

    def judged(self, gauge: Gauge) -> JudgedReading:
        """The reading of a gauge, to be kept."""
        return JudgedReading(gauge.reading, gauge.verdict, self.source, self.sent_db)


class ToneReader(AdjustReader):
    """Reads the tones of an adjust step, from the reference tape or sent and replayed."""

    def __init__(self, step: Adjust, bench: Bench) -> None:
        super().__init__(step, bench)
        self._section = bench.job.section(step.plays) if step.plays is not None else None
        self.source = "record-replay"
        if self._section is not None or step.named_by is not None:
            self.source = "owner's tape" if self._section is None else "reference tape"
        sent = {t.hz: t.db for t in step.sends}
        if step.quantity == "overbias" and len(sent) == 1 and step.reference_frequency is None:
            sent[PROBE_HZ if PROBE_HZ not in sent else 2 * PROBE_HZ] = step.sends[0].db - PROBE_BELOW_DB
        self._sent = sent
        self.judged_hz: float = bench.job.judged_hz(step) or 0.0
        self.sent_db = self._section.db if self._section is not None else sent.get(self.judged_hz)
        self._zero_hz: float | None = None
        if self._section is None:
            others = [hz for hz in sent if hz != self.judged_hz]
            self._zero_hz = step.reference_frequency
            if self._zero_hz is None and step.quantity == "overbias" and others:
                self._zero_hz = others[0]
        self._watches: dict[float, ToneWatch] = {}
        self.begin()

    def begin(self, window_s: float | None = None) -> None:
        """Start to listen; a reading is taken over the last `window_s` seconds, None for the usual time."""
        status = self._bench.port.status
        wanted = {self.judged_hz} | ({self._zero_hz} if self._zero_hz is not None else set())
        quantity = self._step.quantity
        window, paired = window_s or QUANTITIES[quantity].live_window_s, quantity == "azimuth_delay"
        self._watches = {
            hz: ToneWatch(status.sample_rate, status.channels, hz, window_s=window, paired=paired) for hz in wanted
        }

    def feed(self, samples: Samples) -> None:
        """Take in sound."""
        for watch in self._watches.values():
            watch.feed(samples)

    def tones(self, seconds: float | None = None) -> Multitone:
        """The tones that the step sends, all at once."""
        reference = self._bench.job.machine.reference
        rate = self._bench.port.status.sample_rate
        return Multitone([Tone(hz, reference.send_dbfs + db, seconds) for hz, db in self._sent.items()], rate)

    # ---------------------------------------------------------------- reading

    def readings(self) -> list[tuple[Result, float]]:
        """The present reading of each channel, and the offset of its target.

        For over-bias these are levels, which the caller relates to the peak.
        """
        state = self._watches[self.judged_hz].now()
        quantity, job, section = self._step.quantity, self._bench.job, self._section
        if not state.tone_present:
            named = "level" if quantity == "overbias" else quantity
            return [(NoReading(named, c, self._why_not(state)), 0.0) for c in self.channels]
        match quantity:
            case "level" if section is not None:
                levels = [with_tape(r, job, section) for r in self._levels(state)]
                return [(r, expected_dbfs(job, section)) for r in levels]
            case "response" if section is not None:
                return [(self._from_tape(r, section), section.recorded_error_db) for r in self._levels(state)]
            case "azimuth_delay":
                if len(state.sides) < 2 or state.tone is None:
                    return [(NoReading("azimuth_delay", "left-right", "it needs two channels"), 0.0)]
                inverted = None if shows_polarity([state.tone]) else self._bench.inverted
                delay = azimuth_of_tones([state.tone], inverted=inverted)
                if delay.method.inverted:
                    self._bench.notice = TURNED_ROUND
                elif delay.method.polarity_unknown:
                    self._bench.notice = POLARITY_UNKNOWN
                return [(with_tape(delay, job) if section is not None else delay, 0.0)]
            case "speed_error" if section is not None:
                return [(with_tape(corrected(_both(state.speed), job, looped=False), job), 0.0)]
            case "tape_level":
                label = self._bench.figure_at(self._step.named_by)
                return [(relative_to_label(r, job, label), 0.0) for r in self._levels(state)]
            case "record_replay_level":
                return [(self._recorded(r), 0.0) for r in self._levels(state)]
            case "source_level":
                return [(self._source(r), 0.0) for r in self._levels(state)]
            case "response":
                return [(r, 0.0) for r in self._response(state)]
            case "overbias":
                return [(r, 0.0) for r in self._levels(state)]
            case _:
                raise Problem(f"{quantity} can't be adjusted on what this step plays")

    def treble(self, side: Channel) -> float | None:
        """Level of the judged tone relative to the other one on a channel, dB."""
        if self._zero_hz is None:
            return None
        high, low = self._watches[self.judged_hz].now(), self._watches[self._zero_hz].now()
        pair = [r.value for s in (high, low) for r in s.levels if r.channel == side and isinstance(r, Reading)]
        return pair[0] - pair[1] if len(pair) == 2 else None

    def _levels(self, state: WatchState) -> list[Result]:
        looped = bool(self._sent)
        return [corrected(r, self._bench.job, looped=looped) for r in state.levels]

    def _why_not(self, state: WatchState) -> str:
        other = state.other_tone_hz
        if other is not None and all(abs(other - hz) > MAINS_WITHIN_HZ for hz in MAINS_HZ):
            return f"a tone of {hertz(other)} is heard, not {hertz(self.judged_hz)}"
        return state.reason

    def _from_tape(self, level: Result, section: Section) -> Result:
        """Response from the reference tape, relative to the last reading of its level section.

        As in a whole play of the tape, its recorded error is in the reading, and in the target.
        """
        job = self._bench.job
        zero, spread = self._level_error(level.channel)
        response = difference(
            "response",
            level,
            expected_dbfs(job, section) - section.recorded_error_db + zero,
            spread,
            reference="the level section of the reference tape",
        )
        return with_tape(response, job, section)

    def _level_error(self, channel: Channel) -> tuple[float, float]:
        """Deviation of the last level from the reference tape, and its uncertainty, dB."""
        for record, reading in newest(self._bench.journal.records(), "level", channel):
            if record.off is not None and record.source == "reference tape":
                return record.off, reading.uncertainty
        return 0.0, 0.0

    def _source(self, level: Result) -> Result:
        said, dbfs = self._sent_level()
        return difference("source_level", level, dbfs, 0.0, reference=said)

    def _recorded(self, level: Result) -> Result:
        said, dbfs = self._sent_level()
        return recorded_level(level, dbfs, said, source_db(self._bench, level.channel))

    def _sent_level(self) -> tuple[str, float]:
        """The level sent in words, and what it should read at the output, dBFS."""
        job, sent = self._bench.job, self._sent[self.judged_hz]
        return sent_text(sent, job), job.replay_dbfs + sent

    def _response(self, state: WatchState) -> list[Result]:
        zero_hz = self._zero_hz
        if zero_hz is None:
            raise Problem("a response needs reference_frequency")
        base = self._watches[zero_hz].now()
        if not base.tone_present:
            return [NoReading("response", c, base.reason) for c in self.channels]
        apart = self._sent[self.judged_hz] - self._sent[zero_hz]
        out: list[Result] = []
        for level, zero in zip(self._levels(state), self._levels(base), strict=True):
            if isinstance(zero, NoReading):
                out.append(NoReading("response", level.channel, f"{hertz(zero_hz)}: {zero.reason}"))
                continue
            out.append(
                difference(
                    "response",
                    level,
                    zero.value + apart,
                    zero.uncertainty,
                    reference=ReferenceTone(zero_hz, self._sent[zero_hz]),
                    between="recorded to replayed",
                )
            )
        return out


def _both(readings: tuple[Result, ...]) -> Result:
    """Mean of a quantity that both channels share."""
    values = [r for r in readings if isinstance(r, Reading)]
    if not values:
        return replace(readings[0], channel="both")
    return replace(
        values[0],
        channel="both",
        value=sum(r.value for r in values) / len(values),
        uncertainty=sum(r.uncertainty for r in values) / len(values),
        method=replace(values[0].method, mean_of_channels=True),
    )


def label(quantity: str, channel: Channel) -> str:
    """Label of a gauge."""
    name = QUANTITIES[quantity].live or QUANTITIES[quantity].title.lower()
    return f"{channel} {name}" if channel in ("left", "right") else name
