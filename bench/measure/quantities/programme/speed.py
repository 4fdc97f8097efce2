"""Speed from programme: from mains hum recorded with it, or from a tone or a note of known pitch.

Formula
    speed_error = 100 (f / f_recorded - 1) %, positive when the tape plays fast.
    By hum: the signal up to 800 Hz in segments with 50 % overlap under a Hann window. The mains frequency is the one
    near 50 or 60 Hz whose line stands out together with its second or third harmonic and is present all the time,
    unlike a bass note. A line within 0.1 % of 50 or 60 Hz is hum of the replaying machine, not of the tape.
    By pitch: in each half second the strongest line within half a semitone of the recorded pitch; the median of those,
    weighted by power.
Unit and reference
    %, relative to 50 or 60 Hz, or to the named pitch.
Source
    Common practice, no source. That mains were within ±0.2 % (k = 2) when the tape was made is a choice: EN 50160
    allows ±1 % for 99.5 % of a year, and grids stay much closer (from memory).
Accuracy
    The uncertainty of the recorded frequency, and the scatter of harmonics or of half seconds, as stated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.figures import hertz
from bench.measure.meters import Options
from bench.measure.method import Method
from bench.measure.reading import Measured, NoReading, Reading, ReferenceTone
from bench.measure.signal.blocks import Samples

HUM_METHOD = Method("frequency of the mains hum on the tape")
PITCH_METHOD = Method("pitch of a recorded tone or note, median over half seconds")
MAINS_HZ = (50.0, 60.0)
MAINS_PERCENT = 0.2
"""Expanded uncertainty (k = 2) of the mains frequency when the tape was made."""
PRESENT_MAINS = 1e-3
"""A line this near to 50 or 60 Hz, as a fraction, is hum of the replaying machine."""
SEARCH_RANGE = 0.04
"""Largest speed error of a tape, as a fraction."""
HARMONICS = (1, 2, 3, 4, 5)
STANDS_OUT = 10.0
"""Least ratio of the power of a line to the surrounding noise."""
FAINTEST = 1e-2
"""Power relative to the strongest line near the mains frequency; fainter lines are its leakage."""
STEADY = 0.1
"""Hum is continuous: the first quintile of the power of its half seconds is at least this fraction of the mean."""
SEGMENT_S, SHORTEST_S, WINDOW_S = 16.0, 8.0, 0.5
LONGEST_S = 300.0
"""Greatest length that is analysed."""
NOTE_RANGE = 0.029
"""Half a semitone."""
NOTE_S = 0.5
LEAST_NOTES = 4
FAINT_NOTE = 1e-3
"""Power relative to the strongest half second; softer ones are ignored."""
LEAST_PERCENT = 0.02
"""Least uncertainty of a pitch, from flutter and the window."""
KNOWN_PERCENT = 0.5
"""Expanded uncertainty (k = 2) of a pitch, if none is given."""
TOP_HZ = {"hum": 1000.0, "pitch": 5500.0}


class ProgrammeSpeedMeter:
    """`speed_error` of both channels together. Options: `nominal`, `known_percent`; without `nominal` by mains hum."""

    def __init__(self, sample_rate: float, channels: int, options: Options | None = None) -> None:
        chosen = options or Options()
        self._nominal, self._known = chosen.nominal, chosen.known_percent
        top = TOP_HZ["hum" if self._nominal is None else "pitch"]
        self._step = max(1, int(sample_rate / (2.4 * top)))
        self._rate = sample_rate / self._step
        self._taps = _low_pass(self._step) if self._step > 1 else np.ones(1)
        self._waiting = np.zeros((len(self._taps) - 1, channels))
        self._pieces: list[Floats] = []
        self._count = 0

    def feed(self, samples: Samples) -> None:
        """Process samples of shape (frames, channels)."""
        if self._count >= LONGEST_S * self._rate:
            return
        have = np.concatenate([self._waiting, samples])
        ready = (len(have) - len(self._taps) + 1) // self._step
        if ready < 1:
            self._waiting = have
            return
        view = np.lib.stride_tricks.sliding_window_view(have, len(self._taps), axis=0)[:: self._step][:ready]
        self._pieces.append(view @ self._taps)
        self._count += ready
        self._waiting = have[ready * self._step :]

    def finish(self) -> Measured:
        """End the stream and return the reading."""
        sound = np.concatenate(self._pieces)[: int(LONGEST_S * self._rate)] if self._pieces else np.zeros((0, 1))
        if not np.any(sound):
            return self._nothing("nothing is heard")
        return self._by_hum(sound) if self._nominal is None else self._by_pitch(sound, self._nominal)

    # ---------------------------------------------------------------- by hum

    def _by_hum(self, sound: Floats) -> Measured:
        if len(sound) < SHORTEST_S * self._rate:
            return self._nothing(f"hum takes {SHORTEST_S:g} s of tape or more; let it play on")
        spectrum = _Spectrum(*_welch(sound, self._rate, min(SEGMENT_S, len(sound) / self._rate)))
        found = [c for nominal in MAINS_HZ for c in spectrum.candidates(nominal) if self._steady(sound, c.hz)]
        if not found:
            return self._nothing("no mains hum is heard all through this passage")
        tapes = [c for c in found if abs(c.hz / c.nominal - 1) > PRESENT_MAINS]
        if not tapes:
            hz = found[0].nominal
            return self._nothing(
                f"the only hum is at {hertz(hz)} to {100 * PRESENT_MAINS:g} %: it is this machine's own, or the tape "
                "runs right"
            )
        best = max(tapes, key=lambda c: c.power)
        return self._reading(best.hz, best.nominal, best.spread_hz, MAINS_PERCENT, HUM_METHOD)

    def _steady(self, sound: Floats, hz: float) -> bool:
        """Whether a line is present all the time."""
        size = int(WINDOW_S * self._rate)
        whole = sound[: len(sound) // size * size].reshape(-1, size, sound.shape[1])
        carrier = np.hanning(size) * np.exp(-2j * np.pi * hz / self._rate * np.arange(size))
        power = (np.abs(np.einsum("wnc,n->wc", whole, carrier)) ** 2).sum(axis=1)
        return bool(np.quantile(power, 0.2) > STEADY * np.mean(power))

    # ---------------------------------------------------------------- by pitch

    def _by_pitch(self, sound: Floats, nominal: float) -> Measured:
        if nominal > TOP_HZ["pitch"] or nominal * (1 + NOTE_RANGE) > 0.4 * self._rate:
            return self._nothing(
                f"{hertz(nominal)} is too high for a note here; name one up to {hertz(TOP_HZ['pitch'])}"
            )
        size = int(NOTE_S * self._rate)
        notes = [
            note
            for at in range(0, len(sound) - size + 1, size // 2)
            if (note := _note(sound[at : at + size], self._rate, nominal)) is not None
        ]
        strongest = max((power for _, power in notes), default=0.0)
        kept = [(hz, power) for hz, power in notes if power > FAINT_NOTE * strongest]
        if len(kept) < LEAST_NOTES:
            return self._nothing(f"no tone or held note within half a semitone of {hertz(nominal)} is heard here")
        hz, power = np.array(kept).T
        middle = _weighted_median(hz, power)
        scatter = 1.4826 * _weighted_median(np.abs(hz - middle), power)
        # With 50 % overlap, two half seconds count as about one independent one.
        spread = 2 * scatter / np.sqrt(len(kept) / 2)
        known = KNOWN_PERCENT if self._known is None else self._known
        return self._reading(middle, nominal, float(spread), known, PITCH_METHOD)

    def _reading(self, hz: float, nominal: float, spread_hz: float, known_percent: float, method: Method) -> Measured:
        own = float(np.hypot(100 * spread_hz / nominal, LEAST_PERCENT))
        reading = Reading(
            "speed_error",
            "both",
            100 * (hz / nominal - 1),
            own,
            frequency_hz=nominal,
            method=method,
            reference=ReferenceTone(nominal),
        )
        return Measured((reading.widened("what was recorded", known_percent),))

    def _nothing(self, because: str) -> Measured:
        method = HUM_METHOD if self._nominal is None else PITCH_METHOD
        return Measured((NoReading("speed_error", "both", because, frequency_hz=self._nominal, method=method),))


def _low_pass(step: int) -> Floats:
    """A Hamming-windowed low-pass filter ahead of every `step`-th frame."""
    cutoff, half = 0.85 / step, 8 * step
    taps = np.sinc(cutoff * np.arange(-half, half + 1)) * np.hamming(2 * half + 1)
    return np.asarray(taps / taps.sum())


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A line that may be at the mains frequency."""

    nominal: float
    hz: float
    power: float
    spread_hz: float


class _Spectrum:
    """Power over frequency, and the lines in it.

    Args:
        hz: frequencies of the bins.
        power: power in the bins.
        lobe: bins from the centre of a line to its edge.
    """

    def __init__(self, hz: Floats, power: Floats, lobe: int) -> None:
        self._hz, self._power, self._lobe = hz, power, lobe

    def candidates(self, nominal: float) -> list[_Candidate]:
        """Lines near a mains frequency that stand out with their second or third harmonic."""
        first, last = np.searchsorted(self._hz, (nominal * (1 - SEARCH_RANGE), nominal * (1 + SEARCH_RANGE)))
        part = self._power[first:last]
        peaks = [
            first + n
            for n in range(self._lobe, len(part) - self._lobe)
            if part[n] == part[n - self._lobe : n + self._lobe + 1].max() and part[n] > FAINTEST * part.max()
        ]
        return [c for p in peaks if (c := self._candidate(nominal, int(p))) is not None]

    def _candidate(self, nominal: float, peak: int) -> _Candidate | None:
        hz, over = self._line(float(self._hz[peak]))
        if over < STANDS_OUT:
            return None
        lines = [(1, hz, over)]
        for order in HARMONICS[1:]:
            at, above = self._line(order * hz)
            if above > STANDS_OUT and abs(at / order / hz - 1) < PRESENT_MAINS / 2:
                lines.append((order, at / order, above))
        if not {2, 3} & {order for order, _, _ in lines}:
            return None
        found = np.array([at for _, at, _ in lines])
        weight = np.array([order * np.sqrt(min(above, 1e4)) for order, _, above in lines])
        mean = float(np.average(found, weights=weight))
        spread = 2 * float(np.sqrt(np.average((found - mean) ** 2, weights=weight)))
        return _Candidate(nominal, mean, float(self._power[peak]), spread)

    def _line(self, hz: float) -> tuple[float, float]:
        """Frequency of the line near a frequency, and the ratio of its power to the surrounding noise."""
        lobe = self._lobe
        middle = int(np.searchsorted(self._hz, hz))
        near = slice(middle - lobe, middle + lobe + 1)
        top = middle - lobe + int(np.argmax(self._power[near]))
        beside = np.concatenate(
            (self._power[top - 8 * lobe : top - 3 * lobe], self._power[top + 3 * lobe :][: 5 * lobe])
        )
        return _peak_hz(self._hz, self._power, top), float(self._power[top] / max(1e-300, np.median(beside)))


def _welch(sound: Floats, rate: float, seconds: float) -> tuple[Floats, Floats, int]:
    """Frequencies, total power of both channels over segments with 50 % overlap, and bins in half a line."""
    size, pad = int(seconds * rate), 4
    window = np.hanning(size)[:, None]
    power: Floats = np.zeros(size * pad // 2 + 1)
    for at in range(0, len(sound) - size + 1, size // 2):
        power += (np.abs(np.fft.rfft(sound[at : at + size] * window, size * pad, axis=0)) ** 2).sum(axis=1)
    return np.asarray(np.fft.rfftfreq(size * pad, 1 / rate), dtype=float), power, 2 * pad


def _peak_hz(hz: Floats, power: Floats, top: int) -> float:
    """The vertex of a parabola through the logarithms of three bins."""
    low, middle, high = np.log(power[top - 1 : top + 2] + 1e-300)
    bend = low - 2 * middle + high
    return float(hz[top] + (0.5 * (low - high) / bend if bend < 0 else 0.0) * (hz[1] - hz[0]))


def _note(sound: Floats, rate: float, nominal: float) -> tuple[float, float] | None:
    """Frequency and power of the strongest line near a pitch; None if none stands out."""
    pad = 8 * len(sound)
    power = (np.abs(np.fft.rfft(sound * np.hanning(len(sound))[:, None], pad, axis=0)) ** 2).sum(axis=1)
    hz: Floats = np.asarray(np.fft.rfftfreq(pad, 1 / rate), dtype=float)
    first, last = np.searchsorted(hz, (nominal * (1 - NOTE_RANGE), nominal * (1 + NOTE_RANGE)))
    top = int(first) + int(np.argmax(power[first:last]))
    if top in (first, last - 1):
        return None
    wide, far = np.searchsorted(hz, (nominal * 0.94, nominal * 1.06))
    if power[top] < STANDS_OUT * np.median(power[wide:far]):
        return None
    return _peak_hz(hz, power, top), float(power[top])


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(share, share[-1] / 2)])
