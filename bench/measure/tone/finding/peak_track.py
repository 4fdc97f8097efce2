"""Follows one spectral peak through a stream, and measures the steady tones in it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.arrays import Complexes
from bench.measure.signal.spectral_peaks import HANN_BINS, WOW, between
from bench.measure.tone.baseband import low_pass, median
from bench.measure.tone.channel_phase import NEAR_HZ
from bench.measure.tone.demodulator import HALF, Baseband, Spectra
from bench.measure.tone.estimate import NEIGHBOUR_LIMIT, NEIGHBOUR_PASS, measure_stretch
from bench.measure.tone.finding.found_tone import FoundTone, joined
from bench.measure.tone.finding.frames import Frames, frame_points, make_frames
from bench.measure.tone.finding.steady_edges import exact
from bench.measure.tone.finding.steady_stretches import SHORTEST_S, Run, steady_runs
from bench.measure.tone.quantisation import with_rounding

EDGE_POINTS = 13
"""Points at the ends of a stream where the filter extends into the silence outside."""
PART_S, LOW_PART_S = 60.0, 25.0
"""A longer tone is measured in parts of this length; a low one, with hum fitted, in shorter parts to save memory."""
GLIDE_FRACTION = 0.008
"""A frequency that changes by more than this fraction from end to end is a glide; our own choice."""
MOST_UNCERTAIN_DB = 0.4
"""A stretch of less than a second with a more uncertain level is not a steady tone; our own choice."""
FRAMES_BEFORE, FRAMES_AFTER = 4, 3
"""Numbers of frames before and after a frame with which it is compared."""
GLANCE_S = 1.5
"""Length of the end of a tone that is measured while it sounds."""
HUM_BELOW, NEIGHBOUR_BELOW = 3e-3, 1e-4
"""A neighbouring peak with a smaller fraction of a tone's power is not filtered out; for low and for higher tones."""
MAINS_HZ, MAINS_LINES, MAINS_TOLERANCE = (50.0, 60.0), 6, 0.004
HUM_DBFS = -45.0
"""A weaker tone at the mains frequency or a multiple of it is hum; the tones of a tape are stronger."""
HUM_TURNS = 4.0
"""A mains line with fewer beats against the tone within the stretch may be inseparable from it."""
HUM_S, HUM_AWAY_S = 0.2, (0.06, 0.15, 0.25)
"""It is then measured outside the stretch, over this length, at these distances; the least is free of tones."""
NEWEST_FRAMES = 6
"""A run that ends this near to the newest frame continues."""
LEAST_REMAINING = 0.05
"""A peak whose power falls below this fraction has disappeared; our own choice."""
WOW_MOVE = 0.025
"""Greatest movement of a peak between chunks, and its spread to either side within one, due to wow of 2 % peak; as a
fraction of its frequency."""
SAME_HZ, APPARENT_MOVE = 3.0, 0.03
"""A low peak nearer than the first to a followed one is the same peak; hum may lie 3 Hz from a tone. A moving peak is
broad, and may appear to move by up to the second, as a fraction of its frequency."""
OUTGROWN = 100.0
"""A peak that has this many times the power it was first seen with is another tone, such as the one that a print of it
came ahead of: what was filtered out beside the first would filter the second; our own choice."""
MOST_MISSES = 5
"""Chunks for which a peak may be missing before it is dropped; gaps between takes are bridged here and found later."""


def is_mains(hz: float) -> bool:
    """Whether a frequency is a mains frequency or a low multiple of one."""
    return any(
        abs(hz - n * mains) < MAINS_TOLERANCE * n * mains for mains in MAINS_HZ for n in range(1, MAINS_LINES + 1)
    )


def _is_faint_hum(hz: float, dbfs: float) -> bool:
    """Whether a tone is mains hum: weaker than any tone of a tape."""
    return is_mains(hz) and dbfs < HUM_DBFS


def _steady(tone: FoundTone) -> bool:
    """Whether a stretch is a steady tone: a briefly held vowel has no definite level, and a glide no definite pitch."""
    best = min(tone.tones, key=lambda t: t.dbfs_noise)
    glides = abs(best.drift_hz) > GLIDE_FRACTION * tone.frequency_hz + best.drift_uncertainty_hz
    vague = best.dbfs_noise > (MOST_UNCERTAIN_DB if tone.duration_s < 1.0 else 2 * MOST_UNCERTAIN_DB)
    return tone.duration_s >= SHORTEST_S - 0.02 and not glides and not vague


class Track:
    """One peak that is being followed.

    Args:
        spectra: the source of the chunks.
        hz: frequency of the peak.
        power: its power.
        chunk: number of the first chunk.
        clear_hz: distance of the nearest strong neighbour, which is filtered out.
        hum: whether mains hum counts as a tone.
    """

    def __init__(
        self, spectra: Spectra, hz: float, power: float, chunk: int, clear_hz: float = 1e9, *, hum: bool = False
    ) -> None:
        self._spectra = spectra
        self.tone_hz = hz
        self.power = self._power_at_first = power
        self.misses = 0
        self._centre = spectra.nearest_bin(hz)
        self.seen_hz = hz
        """Frequency of the peak when it was last seen: wow moves it."""
        self._oscillator_hz = self._centre * spectra.bin_hz
        self._waiting: list[NDArray[np.complex128]] = []
        self._next = chunk
        self._pieces: list[Baseband] = []
        self._dropped = 0
        self._first_point = spectra.start_of(chunk)
        block, blocks = frame_points(hz, spectra.rate)
        none = np.zeros(0)
        self._frames = Frames(block * blocks, block * blocks / spectra.rate, none, none, none)
        self._done = 0
        self._parts: list[FoundTone] = []
        self._clear: list[float] = []
        self._still_steady = False
        self._clear_hz = clear_hz
        self._hum = hum
        self._taps: Complexes | None = None
        if clear_hz < NEIGHBOUR_LIMIT * spectra.rate:
            taps = low_pass(NEIGHBOUR_PASS * clear_hz, clear_hz, spectra.rate)
            half = len(taps) // 2
            offset = (hz - self._oscillator_hz) / spectra.rate
            self._taps = taps * np.exp(2j * np.pi * offset * np.arange(-half, half + 1))
            self._held = np.zeros((2 * half, spectra.channels), dtype=np.complex128)
            self._first_point -= half

    def extend(self, spectrum: NDArray[np.complex128], chunk: int) -> None:
        """Buffer the next chunk for `catch_up`."""
        if not self._waiting:
            self._next = chunk
        self._waiting.append(spectrum)

    def catch_up(self, *, to_the_end: bool = False) -> None:
        """Demodulate the buffered chunks, and compute the frames that they complete.

        A frame is computed when the later frames with which it is compared are available too.
        """
        if self._waiting:
            z = self._spectra.basebands(self._waiting, self._next, self._centre)
            self._waiting = []
            if self._taps is not None:
                held = np.concatenate([self._held, z])
                self._held = held[len(z) :]
                z = np.stack([np.convolve(held[:, c], self._taps, mode="valid") for c in range(z.shape[1])], axis=1)
            self._pieces += [z[n : n + HALF] for n in range(0, len(z), HALF)]
        points, ready = self._frames.points, len(self._frames)
        count = (self._end() - ready * points) // points - (0 if to_the_end else FRAMES_AFTER)
        if count <= 0:
            return
        if not self._hum and is_mains(self.tone_hz) and self.power < 10.0 ** (HUM_DBFS / 10.0):
            self._frames = self._frames.joined(self._frames.silent(count))
            return
        known = min(ready, FRAMES_BEFORE, (ready * points - self._dropped) // points)
        z = self._points((ready - known) * points, self._end())
        more = make_frames(z, self._spectra.rate, self.tone_hz, self._oscillator_hz)
        self._frames = self._frames.joined(more.between(known, known + count))

    @property
    def holds(self) -> bool:
        """Whether a steady tone sounded at the last harvest and the peak has been present since."""
        return self._still_steady and not self.misses

    def look(self, power: NDArray[np.float64]) -> bool:
        """Whether the peak is still present in a chunk's power spectrum, or was shortly before."""
        reach, away = (max(2, round(part * self.tone_hz / self._spectra.bin_hz)) for part in (WOW_MOVE, WOW))
        seen = round(self.seen_hz / self._spectra.bin_hz)
        low = max(1, seen - reach, self._centre - away)
        high = min(seen + reach, self._centre + away, len(power) - 2) + 1
        at = low + int(np.argmax(power[low:high]))
        here = max(float(power[at]), float(power[low:high].sum()) / HANN_BINS)
        self.power = max(0.7 * self.power, here)
        if self._taps is not None and here > OUTGROWN * self._power_at_first:
            self._pass_all(self._taps)
        self.misses = 0 if here > LEAST_REMAINING * self.power > 0.0 else self.misses + 1
        if not self.misses:
            hz = between(power, at) * self._spectra.bin_hz
            moves, strays = (max(SAME_HZ, part * self.tone_hz) for part in (APPARENT_MOVE, WOW))
            # For a low peak the search range of two bins is wider than this; a peak further away is another one.
            if abs(hz - self.seen_hz) < moves and abs(hz - self.tone_hz) < strays:
                self.seen_hz = hz
        return self.misses < MOST_MISSES

    def _pass_all(self, taps: Complexes) -> None:
        """Filter nothing out from here on; with the delay of the filter that was."""
        self._taps = np.zeros_like(taps)
        self._taps[len(taps) // 2] = 1.0
        self._clear_hz, self._power_at_first = 1e9, np.inf

    def beside(self, peaks: list[tuple[float, float]]) -> None:
        """Note the distance of the nearest other tone in a chunk; hum is weaker, and is fitted instead of filtered."""
        weakest = (HUM_BELOW if self.tone_hz < NEAR_HZ else NEIGHBOUR_BELOW) * self.power
        apart = max(3.0 * self._spectra.bin_hz, WOW * self.tone_hz)
        away = [abs(hz - self.seen_hz) for hz, p in peaks if p > weakest]
        self._clear.append(min([d for d in away if d > apart], default=1e9))

    def beside_as_before(self) -> None:
        """For a chunk whose peaks are not known, assume the same neighbours as in the last."""
        self._clear.append(self._clear[-1])

    # ------------------------------------------------------------ measuring

    def harvest(self) -> list[FoundTone]:
        """Measure the stretches that have ended; a long one that continues is measured in parts."""
        frames = self._frames
        runs = self._runs()
        head = len(frames) - self._done
        settled = head - round(2 * SHORTEST_S / frames.seconds)
        self._still_steady = bool(runs) and runs[-1].end >= head - NEWEST_FRAMES
        found = []
        at = self._done
        for first, last, end, undecided in runs:
            if end < settled and not undecided:
                found += self._ended(at + first, at + last)
                self._done = at + last
            elif (last - first) * frames.seconds > (PART_S if self.tone_hz >= NEAR_HZ else LOW_PART_S) + 2.0:
                stop = at + last - round(2.0 / frames.seconds)
                self._parts.append(self.measure(at + first, stop, cut_end=True))
                self._done = stop
        if not runs and self._parts and head * frames.seconds > 4 * SHORTEST_S:
            found += self._flush()
        idle = head - round(4.0 / frames.seconds)
        if not runs and idle > 0:
            self._done += idle
        self._forget()
        return found

    def close(self) -> list[FoundTone]:
        """The peak has disappeared: measure the stretches that were still open."""
        self.catch_up(to_the_end=True)
        found = []
        for first, last, *_ in self._runs():
            found += self._ended(self._done + first, self._done + last)
        return found + self._flush()

    def sounding(self) -> FoundTone | None:
        """The tone that is sounding at present, measured approximately, without comparing its channels."""
        if self.misses:
            return None
        frames = self._frames
        runs = self._runs()
        if not runs or len(frames) - self._done - runs[-1].end > NEWEST_FRAMES:
            return None
        first, last = self._done + runs[-1].first, self._done + runs[-1].last
        late = max(first, last - round(GLANCE_S / frames.seconds))
        tone = self.measure(late, last, glance=True, cut_start=late > first)
        start_s = (
            self._parts[0].start_s if self._parts else (self._first_point + first * frames.points) / self._spectra.rate
        )
        return FoundTone(
            min(start_s, tone.start_s),
            tone.end_s,
            tone.frequency_hz,
            tone.frequency_uncertainty_hz,
            tone.tones,
            tone.pair,
        )

    def _runs(self) -> list[Run]:
        """Stretches of steady tone since the last one measured, with frames counted from there."""
        frames = self._frames.tail(self._done)
        runs = steady_runs(frames, self.tone_hz, self.tone_hz - self._oscillator_hz)
        return runs if self._hum else [r for r in runs if not self._is_hum(frames, r.first, r.last)]

    def _is_hum(self, frames: Frames, first: int, last: int) -> bool:
        hz = median(frames.frequency_hz[first:last]) + self._oscillator_hz
        return _is_faint_hum(hz, median(frames.level_db[first:last]))

    def _ended(self, first: int, last: int) -> list[FoundTone]:
        continues = bool(self._parts) and first - self._done <= 2
        out = [] if continues else self._flush()
        own = self.measure(first, last, cut_start=continues)
        if not continues and not (_steady(own) and (self._hum or not _is_faint_hum(own.frequency_hz, own.dbfs))):
            return out
        if continues:
            own = joined([*self._parts, own])
            self._parts = []
        return [*out, own]

    def _flush(self) -> list[FoundTone]:
        out = [joined(self._parts)] if self._parts else []
        self._parts = []
        return out

    def measure(
        self, first: int, last: int, *, glance: bool = False, cut_start: bool = False, cut_end: bool = False
    ) -> FoundTone:
        """Measure the stretch between two frames.

        Args:
            first: its first frame.
            last: the frame after its end.
            glance: whether an approximate result is enough.
            cut_start: the tone also sounds before it, so the start is not refined.
            cut_end: the same for the end.
        """
        rate, points, frames = self._spectra.rate, self._frames.points, self._frames
        about = median(frames.frequency_hz[first:last]) + self._oscillator_hz
        low, high = max(self._dropped, (first - 6) * points - 200), min(self._end(), (last + 6) * points + 200)
        z = self._points(low, high)
        own = z[first * points - low : last * points - low]
        lead = int(np.argmax(np.sum(np.abs(own) ** 2, axis=0)))
        start, stop = exact(
            z[:, lead],
            rate,
            (first * points - low, last * points - low),
            points,
            tone_hz=about,
            oscillator_hz=self._oscillator_hz,
        )
        start = first * points if cut_start else max(start + low, EDGE_POINTS - self._first_point)
        stop = last * points if cut_end else min(stop + low, self._spectra.points() - self._first_point - EDGE_POINTS)
        chunks = self._clear[max(0, start // HALF - 1) : stop // HALF]
        clear = min(self._clear_hz, sorted(chunks)[3 * (len(chunks) - 1) // 10] if chunks else 1e9)
        tones, pair = measure_stretch(
            z[start - low : stop - low],
            rate,
            self._oscillator_hz,
            about,
            clear,
            glance=glance,
            paired=not glance,
            hum=self._hum_beside(start, stop, about),
        )
        tones, pair = with_rounding(
            tones, pair, self._spectra.rounding.step, self._spectra.sample_rate, (stop - start) / rate
        )
        weights = np.array([t.amplitude**2 for t in tones]) + 1e-30
        return FoundTone(
            start_s=(self._first_point + start) / rate,
            end_s=(self._first_point + stop) / rate,
            frequency_hz=float(np.average([t.frequency_hz for t in tones], weights=weights)),
            frequency_uncertainty_hz=min(t.frequency_uncertainty_hz for t in tones),
            tones=tones,
            pair=pair,
        )

    def _hum_beside(self, start: int, stop: int, tone_hz: float) -> tuple[float, list[float]] | None:
        """The mains line near a tone: its frequency, and its amplitude in each channel before or after the tone."""
        rate = self._spectra.rate
        lines = [round(tone_hz / mains) * mains for mains in MAINS_HZ if 1 <= round(tone_hz / mains) <= MAINS_LINES]
        line = min(lines, key=lambda hz: abs(hz - tone_hz), default=0.0)
        if abs(line - tone_hz) * (stop - start) / rate > HUM_TURNS:
            return None
        wide = round(HUM_S * rate)
        window = np.hanning(wide + 2)[1:-1]
        turn = np.exp(-2j * np.pi * (line - self._oscillator_hz) / rate * np.arange(wide)) * window / window.sum()
        aways = [round(s * rate) for s in HUM_AWAY_S]
        places = [*(start - wide - a for a in aways), *(stop + a for a in aways)]
        first, end = (
            max(self._dropped, -self._first_point),
            min(self._end(), self._spectra.points() - self._first_point),
        )
        known = [at for at in places if at >= first and at + wide <= end]
        levels = [np.abs(turn @ self._points(at, at + wide)) for at in known]
        return (line, [float(v) for v in np.min(levels, axis=0)]) if levels else None

    # ------------------------------------------------------------ storage

    def _end(self) -> int:
        return self._dropped + HALF * len(self._pieces)

    def _points(self, start: int, stop: int) -> Baseband:
        first = (start - self._dropped) // HALF
        z = np.concatenate(self._pieces[first : -(-(stop - self._dropped) // HALF)])
        offset = self._dropped + first * HALF
        return z[start - offset : stop - offset]

    def _forget(self) -> None:
        """Discard whole frames and pieces well before the open stretch."""
        points = self._frames.points
        spare = min(self._done, len(self._frames)) * points - 1000 - self._dropped
        pieces = spare // HALF
        if pieces > 64:
            del self._pieces[:pieces]
            self._dropped += pieces * HALF
