"""Finds steady tones in a stream, in any order, among speech, gaps, clicks, hum, hiss and DC.

The spectrum of each chunk proposes peaks. A persistent peak is followed by the tracking demodulator (`peak_track`),
and `steady_stretches` finds where its baseband holds a steady tone. Only those stretches are measured (`estimate`).
Memory is bounded: a long tone is measured in parts of about a minute, which are then combined.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bench.measure.signal.blocks import Samples
from bench.measure.signal.spectral_peaks import WOW, hann_power, sounds_alone, strongest_peaks, without_sidebands
from bench.measure.tone.demodulator import Spectra
from bench.measure.tone.finding.found_tone import LEVEL_METHOD, FoundTone, side_of
from bench.measure.tone.finding.peak_track import SAME_HZ, WOW_MOVE, Track

__all__ = ["LEVEL_METHOD", "FoundTone", "ToneFinder", "side_of"]

# No published source gives these figures: they are our own choice, checked by tests/measure/tone/test_finder.py and
# the rough tapes.

TRACKS = 8
"""Peaks that are followed at once."""
KEPT = 5
"""Spectra that are buffered, so that the start of a tone is not lost when it is recognised."""
HARVEST, IDLE_HARVEST = 8, 64
"""Chunks between searches for tones that have ended: half a second, or 4 s if no one is waiting for them."""
LIVE_EVERY, IDLE_EVERY = 4, 16
"""Chunks between measurements of the sounding tone; the second applies if no one is watching."""
STEADY_MOVE = 0.01
"""Greatest movement of a peak between chunks before it is followed, as a fraction, unless the tone sounds alone."""
NEIGHBOUR, NEAREST_HZ = 0.01, 40.0
"""A peak with at least this fraction of a tone's power, and at least this far away, is filtered out first."""
FAINT_DB = 45.0
"""A tone this much weaker than one that sounds with it is ignored."""
SKIRT, SKIRT_DB = 0.05, 20.0
"""A peak within this fraction of a followed one's frequency, and this many dB weaker, is leakage of that one."""
SIDEBANDS = ((0.012, 10.0), (0.03, 20.0))
"""A tone within this fraction of another's frequency, and this many dB weaker, is a sideband of its flutter."""
ECHO_S, ECHO_DB = 2.0, 35.0
"""Print-through: the same tone at most this long before or after, on the next layer, and at least this much weaker."""
SAME_TONE, SAME_TONE_DB = 0.012, 3.0
"""Greatest difference between two tracks of one tone, as a fraction of frequency and in dB."""
HARMONICS = range(2, 16)
HARMONIC_BELOW = 0.4
"""A tone at a harmonic of another that sounds with it, with an amplitude below this ratio (8 dB), is not a tone."""


class ToneFinder:
    """Finds steady tones, fed block by block.

    Args:
        sample_rate: frames per second.
        channels: 1 or 2.
        spectra: a shared source of chunks; its owner calls `take` and `conclude` instead of `feed` and `finish`.
        hum: whether to find weak tones at the mains frequency and its low multiples too.
        harvest: interval, in chunks, at which tones that have ended are collected during one that continues.
    """

    def __init__(
        self,
        sample_rate: float,
        channels: int,
        spectra: Spectra | None = None,
        *,
        hum: bool = False,
        harvest: int = HARVEST,
    ) -> None:
        self._spectra = spectra or Spectra(sample_rate, channels)
        self._hum = hum
        self._harvest = harvest
        self._show = LIVE_EVERY if harvest == HARVEST else IDLE_EVERY
        self._recent: list[tuple[int, NDArray[np.complex128]]] = []
        self._chunk = 0
        self._peaks: list[list[tuple[float, float]]] = []
        self._tracks: list[Track] = []
        self._rested = False
        self._reported: list[FoundTone] = []
        self._shown: FoundTone | None = None
        self._shown_at = self._seen_at = -1

    def feed(self, samples: Samples) -> list[FoundTone]:
        """Process samples of shape (frames, channels); returns the tones that have just ended, oldest first."""
        return [tone for spectrum in self._spectra.feed(samples) for tone in self.take(spectrum)]

    def finish(self) -> list[FoundTone]:
        """End the stream and return the tones that were still sounding."""
        found = [tone for spectrum in self._spectra.finish() for tone in self.take(spectrum)]
        return [*found, *self.conclude()]

    @property
    def current(self) -> FoundTone | None:
        """The strongest tone sounding at present that has been steady for at least 0.4 s.

        Its start is where it began; everything else is measured over its last second and a half, four times a second.
        """
        if self._shown_at != self._seen_at:
            self._shown_at = self._seen_at
            self._shown = None
            for track in sorted(self._tracks, key=lambda t: -t.power):
                self._shown = track.sounding()
                if self._shown is not None:
                    break
        return self._shown

    @property
    def holds(self) -> bool:
        """Whether a steady tone was sounding at the last harvest and still is."""
        return any(t.holds for t in self._tracks)

    def take(
        self,
        spectrum: NDArray[np.complex128],
        peaks: list[tuple[float, float]] | None = None,
        power: NDArray[np.float64] | None = None,
    ) -> list[FoundTone]:
        """Process the next chunk, with its peaks and power if they are known already; returns the same as `feed`."""
        self._recent = [*self._recent[-KEPT + 1 :], (self._chunk, spectrum)]
        if power is None and self._may_rest():
            self._rested = True
            for track in self._tracks:
                track.extend(spectrum, self._chunk)
                track.beside_as_before()
            return self._end_chunk([])
        self._rested = False
        if power is None:
            power = hann_power(spectrum, self._spectra.bin_hz)
        if peaks is None:
            peaks = strongest_peaks(power, self._spectra.bin_hz)
        peaks = without_sidebands(peaks, self._spectra.bin_hz)
        found = []
        for track in list(self._tracks):
            track.extend(spectrum, self._chunk)
            holds = track.look(power)
            track.beside(peaks)
            if not holds:
                self._tracks.remove(track)
                self._seen_at = self._chunk
                found += track.close()
        self._open(peaks, power)
        self._peaks = [*self._peaks[-1:], peaks]
        return self._end_chunk(found)

    def _may_rest(self) -> bool:
        """Whether to skip the search for peaks: in every other chunk, while every peak is being followed."""
        return (
            not self._rested
            and bool(self._tracks)
            and not any(track.misses for track in self._tracks)
            and all(any(abs(t.seen_hz - hz) < _apart(hz) for t in self._tracks) for hz, _ in self._peaks[-1])
        )

    def _end_chunk(self, found: list[FoundTone]) -> list[FoundTone]:
        """The periodic tasks, at the end of a chunk."""
        for track in self._tracks:
            if self._chunk % self._show == 0:
                self._seen_at = self._chunk
                track.catch_up()
            if self._chunk % self._harvest == 0:
                found += track.harvest()
        self._chunk += 1
        return self._report(found)

    def conclude(self) -> list[FoundTone]:
        """The tones that were still sounding, after the last chunk."""
        found = [tone for track in self._tracks for tone in track.close()]
        self._tracks = []
        return self._report(found)

    def _open(self, peaks: list[tuple[float, float]], spectrum_power: NDArray[np.float64]) -> None:
        """Start to follow each peak that was also present in the two chunks before."""
        for hz, power in peaks if len(self._peaks) == 2 else []:
            if any(_beside(t, hz, power) and not t.misses for t in self._tracks):
                continue
            moves = WOW_MOVE if sounds_alone(spectrum_power, self._spectra.bin_hz) else STEADY_MOVE
            reach = max(0.7 * self._spectra.bin_hz, moves * hz)
            if not all(any(abs(h - hz) < reach and p > 0.1 * power for h, p in old) for old in self._peaks):
                continue
            if len(self._tracks) >= TRACKS:
                weakest = min(self._tracks, key=lambda t: t.power)
                if weakest.power > 0.1 * power:
                    continue
                self._tracks.remove(weakest)
            clear = self._clear(hz, power, peaks)
            track = Track(self._spectra, hz, power, self._recent[0][0], clear, hum=self._hum)
            for chunk, spectrum in self._recent:
                track.extend(spectrum, chunk)
                track.beside(peaks)
            self._tracks.append(track)

    def _clear(self, hz: float, power: float, peaks: list[tuple[float, float]]) -> float:
        """Distance to the nearest strong peak that was also present in the chunks before."""
        away = [
            abs(h - hz)
            for h, p in peaks
            if p > NEIGHBOUR * power
            and abs(h - hz) > max(NEAREST_HZ, WOW * hz)
            and all(any(abs(o - h) < 0.01 * h for o, _ in old) for old in self._peaks)
        ]
        return min(away, default=1e9)

    def _report(self, found: list[FoundTone]) -> list[FoundTone]:
        """The separate tones among those found, oldest first."""
        sounding = [t for t in (track.sounding() for track in self._tracks) if t is not None] if found else []
        known = [*self._reported, *found, *sounding]
        own: list[FoundTone] = []
        for f in found:
            of_another = any(_harmonic(f, k) or _faint(f, k) or _sideband(f, k) or _echo(f, k) for k in known)
            if not of_another and not any(_same(f, k) for k in [*self._reported, *own, *sounding]):
                own.append(f)
        self._reported = [*self._reported, *own][-2 * TRACKS :]
        return sorted(own, key=lambda f: f.start_s)


def _apart(hz: float) -> float:
    """A peak nearer than this to a followed one is the same peak."""
    return max(SAME_HZ, 0.012 * hz)


def _beside(track: Track, hz: float, power: float) -> bool:
    """Whether a peak is already followed, or is weak leakage of a followed one."""
    away = abs(track.seen_hz - hz)
    return away < _apart(hz) or (away < SKIRT * hz and power < 10.0 ** (-SKIRT_DB / 10.0) * track.power)


def _harmonic(tone: FoundTone, of: FoundTone) -> bool:
    """Whether a tone is a harmonic of a stronger one that sounds with it."""
    order = round(tone.frequency_hz / of.frequency_hz)
    together = min(tone.end_s, of.end_s) - max(tone.start_s, of.start_s)
    return (
        order in HARMONICS
        and abs(tone.frequency_hz / (order * of.frequency_hz) - 1.0) < 0.003
        and together > 0.5 * tone.duration_s
        and tone.dbfs < of.dbfs + 20.0 * np.log10(HARMONIC_BELOW)
    )


def _faint(tone: FoundTone, beside: FoundTone) -> bool:
    """Whether a tone is weak enough to be an artefact of one that sounds with it: a beat, an alias."""
    together = min(tone.end_s, beside.end_s) - max(tone.start_s, beside.start_s)
    return together > 0.5 * tone.duration_s and tone.dbfs < beside.dbfs - FAINT_DB


def _sideband(tone: FoundTone, beside: FoundTone) -> bool:
    """Whether a weaker tone is near enough to another to be a sideband of its flutter."""
    together = min(tone.end_s, beside.end_s) - max(tone.start_s, beside.start_s)
    away = abs(tone.frequency_hz / beside.frequency_hz - 1.0)
    made = any(away < near and tone.dbfs < beside.dbfs - weaker for near, weaker in SIDEBANDS)
    return together > 0.5 * tone.duration_s and made


def _echo(tone: FoundTone, of: FoundTone) -> bool:
    """Whether a tone is print-through of a stronger one, before or after it, from the adjacent layer of tape."""
    apart = max(of.start_s - tone.end_s, tone.start_s - of.end_s)
    same = abs(tone.frequency_hz / of.frequency_hz - 1.0) < SIDEBANDS[0][0]
    return same and -0.5 < apart < ECHO_S and tone.dbfs < of.dbfs - ECHO_DB


def without_pieces(tones: Sequence[FoundTone]) -> list[FoundTone]:
    """The tones, oldest first, without those that are fragments of a longer one found later."""
    longer = sorted(tones, key=lambda t: -t.duration_s)
    own: list[FoundTone] = []
    for tone in longer:
        if not any(_same(tone, k) for k in own):
            own.append(tone)
    return sorted(own, key=lambda t: t.start_s)


def _same(tone: FoundTone, other: FoundTone) -> bool:
    """Whether two tracks found the same tone: because of wander a fragment differs slightly from the whole."""
    together = min(tone.end_s, other.end_s) - max(tone.start_s, other.start_s)
    apart = abs(tone.frequency_hz - other.frequency_hz)
    alike = apart < max(0.5, SAME_TONE * tone.frequency_hz) and abs(tone.dbfs - other.dbfs) < SAME_TONE_DB
    return together > 0.5 * tone.duration_s and (alike or apart < max(0.5, 0.002 * tone.frequency_hz))
