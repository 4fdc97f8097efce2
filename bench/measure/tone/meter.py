"""The base class of tone meters, and the checks of a capture that apply to every quantity."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence

import numpy as np

from bench.figures import number
from bench.measure.catalogue import UNWEIGHTED_PEAK, UNWEIGHTED_RMS
from bench.measure.meters import Options
from bench.measure.reading import Channel, Measured, NoReading, Result
from bench.measure.signal.automatic_gain import GainWatch, automatic_gain_warning
from bench.measure.signal.blocks import Samples
from bench.measure.signal.flat_tops import FlatTops
from bench.measure.signal.missing_top import MissingTop
from bench.measure.tone.finding.finder import IDLE_HARVEST, FoundTone, ToneFinder, side_of, without_pieces
from bench.measure.tone.finding.found_tone import of_one_machine
from bench.measure.tone.finding.peak_track import is_mains

SEARCH_RANGE = 0.065
"""Search range around a nominal frequency: the worst speed error of a domestic machine, 6 % (common practice, no
source), and a margin for flutter."""
HUM_BELOW_DB = 20.0
"""A tone at a mains frequency this far below another in the search range is hum."""
FULL_SCALE = 0.9999
NO_TONE = "no steady tone was found"
OF_GAIN = {
    "level",
    "response",
    "noise",
    "signal_to_noise",
    "hum",
    "maximum_output_level",
    "saturated_output_level",
    "erasure",
    "dropout_count",
    "dropout_rate",
    "dropout_depth",
    "dropout_length",
}
"""The quantities that automatic gain control falsifies."""
CODED = {"noise": 3.0, "signal_to_noise": 3.0, "hum": 3.0, "separation": 3.0, "erasure": 3.0}
CODED_BY_UNIT = {"dB": 0.3, "dBFS": 0.3}
CODED_SHARE = 0.1
"""Expanded uncertainty that lossy coding adds to a reading: by quantity, by unit, and for percentages as a fraction of
the reading. Common practice, no source."""
CODED_UNWEIGHTED = 0.03
"""The same for unweighted flutter, %: the noise beside the carrier that 80 kbit/s leave (found with MP3)."""
CLIPPED_RUN = 3
"""Consecutive samples at full scale that count as clipping."""


class ToneMeter(ABC):
    """Finds the tones of a stream; a subclass computes the readings.

    Args:
        sample_rate: frames per second.
        channels: 1 or 2.
        options: of the measurement.
    """

    def __init__(self, sample_rate: float, channels: int, options: Options | None = None) -> None:
        self.sample_rate = sample_rate
        self.channels = channels
        self.options = options or Options()
        asked = (self.options.frequency, self.options.nominal, *self.options.frequencies)
        hum = any(hz is not None and is_mains(hz) for hz in asked)
        self._finder = ToneFinder(sample_rate, channels, hum=hum, harvest=IDLE_HARVEST)
        self._tones: list[FoundTone] = []
        self._capture = CaptureCheck(sample_rate, channels)

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels), full scale ±1."""
        self._capture.feed(samples)
        self._tones += self._finder.feed(samples)

    def finish(self) -> Measured:
        """End the stream and return the readings."""
        self._tones += self._finder.finish()
        self._tones = of_one_machine(without_pieces(self._tones))
        return self._capture.judged(self.conclude(self._tones, self._capture))

    @abstractmethod
    def conclude(self, tones: Sequence[FoundTone], capture: CaptureCheck) -> Measured:
        """The readings from all of a capture's tones, oldest first."""

    @property
    def sides(self) -> tuple[Channel, ...]:
        """The names of the channels."""
        return tuple(side_of(c, self.channels) for c in range(self.channels))


class CaptureCheck:
    """Checks of a whole capture: length, peak, clipping, automatic gain control and lossy coding.

    Args:
        sample_rate: frames per second.
        channels: 1 or 2.
    """

    def __init__(self, sample_rate: float, channels: int) -> None:
        self.sample_rate = sample_rate
        self.channels = channels
        self.frames = 0
        self.peak = 0.0
        """Highest peak of all channels."""
        self._gain = GainWatch(sample_rate)
        self._tops = FlatTops(sample_rate, channels)
        self._top = MissingTop(sample_rate)
        self._clipped_at: list[int | None] = [None] * channels
        self._tail = np.zeros((CLIPPED_RUN - 1, channels), dtype=bool)

    def feed(self, samples: Samples) -> None:
        """Process samples."""
        if not len(samples):
            return
        highest = max(float(samples.max()), -float(samples.min()))
        self.peak = max(self.peak, highest)
        if highest >= FULL_SCALE or self._tail.any():
            full = np.concatenate([self._tail, np.abs(samples) >= FULL_SCALE])
            run = full[:-2] & full[1:-1] & full[2:]
            for c in range(self.channels):
                if self._clipped_at[c] is None and run[:, c].any():
                    self._clipped_at[c] = self.frames + int(np.argmax(run[:, c])) - len(self._tail)
            self._tail = full[-(CLIPPED_RUN - 1) :]
        self.frames += len(samples)
        mono = samples @ np.ones(self.channels)  # a twentieth of the time of `sum`, which goes frame by frame
        self._gain.feed(mono)
        self._tops.feed(samples)
        self._top.feed(mono)

    def clipping(self) -> tuple[str, ...]:
        """One sentence for each channel that is clipped, by the converter or ahead of it."""
        words = []
        for c, (at, cut) in enumerate(zip(self._clipped_at, self._tops.cut_at, strict=True)):
            side = side_of(c, self.channels)
            if at is not None:
                words.append(
                    f"{side} channel clipped from {at / self.sample_rate:.3f} s on: readings are of the clipped sound; "
                    "record it again at a lower level"
                )
            elif cut is not None:
                words.append(
                    f"{side} channel: the tops of the wave are cut at {number(20.0 * float(np.log10(cut)), 1)} dBFS, "
                    "ahead of the converter: readings are of the clipped sound; lower the level at the machine's "
                    "output or the interface's input"
                )
        return tuple(words)

    def judged(self, measured: Measured) -> Measured:
        """A meter's results with warnings about the capture; readings that automatic gain falsifies are refused."""
        edge = self._top.edge_hz()
        if edge is not None:
            warning = (
                f"there is nothing above {edge / 1000.0:.1f} kHz: lossy coding leaves that out and falsifies weak "
                "sounds too, so that readings are less certain; capture again without it"
            )
            measured = Measured(tuple(_coded(r) for r in measured.readings), (warning, *measured.warnings))
        swing = self._gain.swing_db()
        if swing is None:
            return Measured(measured.readings, (*self.clipping(), *measured.warnings))
        because = automatic_gain_warning(swing)
        refused = tuple(_refused(r, because) if r.quantity in OF_GAIN else r for r in measured.readings)
        return Measured(refused, (because, *self.clipping(), *measured.warnings))

    def why_nothing(self) -> str:
        """Why there is no tone: the end of the sentence "no reading, because …"."""
        if not self.peak > 0.0:
            return "the capture is silent"
        seconds = self.frames / self.sample_rate
        if seconds < 0.5:
            return f"the capture is too short: {seconds:.2f} s, and a tone must hold for 0.5 s"
        return NO_TONE


def _coded(result: Result) -> Result:
    """A result with its uncertainty widened for lossy coding, which keeps no phase between the channels."""
    if result.quantity.startswith("azimuth"):
        return _refused(result, "lossy coding joins the channels above some frequency, and may leave no delay")
    if isinstance(result, NoReading) or result.bound:
        return result
    share = CODED_SHARE * abs(result.value) if result.unit == "%" and "speed" not in result.quantity else 0.0
    if result.method.name in (UNWEIGHTED_RMS, UNWEIGHTED_PEAK):
        share = float(np.hypot(share, CODED_UNWEIGHTED))
    return result.widened("lossy coding", share or CODED.get(result.quantity, CODED_BY_UNIT.get(result.unit, 0.0)))


def _refused(result: Result, because: str) -> NoReading:
    hz, method, reference = result.frequency_hz, result.method, result.reference
    return NoReading(result.quantity, result.channel, because, frequency_hz=hz, method=method, reference=reference)


def nearest(tones: Sequence[FoundTone], asked_hz: float) -> list[FoundTone]:
    """The takes of the tone nearest to a frequency, within the search range; oldest first."""
    near = [t for t in tones if abs(t.frequency_hz / asked_hz - 1.0) <= SEARCH_RANGE]
    loudest = max((t.dbfs for t in near), default=0.0)
    near = [t for t in near if not (is_mains(t.frequency_hz) and t.dbfs < loudest - HUM_BELOW_DB)]
    if not near:
        return []
    best = min(near, key=lambda t: abs(np.log(t.frequency_hz / asked_hz)))
    return [t for t in near if abs(t.frequency_hz / best.frequency_hz - 1.0) < 0.01]


def dominant(tones: Sequence[FoundTone]) -> FoundTone:
    """The tone with the most energy."""
    return max(tones, key=lambda t: t.duration_s * sum(c.amplitude**2 for c in t.tones))


def tone_text(tone: FoundTone) -> str:
    """A tone in words: "1000.2 Hz at −20.0 dBFS from 3.1 s to 5.0 s"."""
    return f"{tone.frequency_hz:.1f} Hz at {number(tone.dbfs, 1)} dBFS from {tone.start_s:.1f} s to {tone.end_s:.1f} s"
