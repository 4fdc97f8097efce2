"""The replay head's losses: fixed ones, and those of azimuth and contact, which vary continuously."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.fft import irfft, rfft
from numpy.typing import NDArray

from bench.arrays import Floats
from bench.practice.filters import CHUNK, FFT, RAMP, RATE, response_of

BINS_HZ: Floats = np.asarray(np.arange(FFT // 2 + 1) * (RATE / FFT), dtype=np.float64)
_NEPERS = np.log(10) / 20 * BINS_HZ / 10000.0
"""Loss in nepers at each frequency for 1 dB at 10 kHz: the spacing loss is proportional to frequency."""
_STEP_DB = 6.0
"""Largest difference at 10 kHz between the spacings for which a chunk is filtered; the amplitude at 10 kHz is
interpolated between them."""


class HeadFilter:
    """Filters flux and hiss of two channels with separate taps, and adds them.

    Crosstalk is added to the flux first. Azimuth and spacing losses vary with time; they are short zero-phase filters
    and are applied in the frequency domain.
    """

    def __init__(self) -> None:
        self._past = np.zeros((4, FFT - CHUNK))
        self._taps: NDArray[np.complex128] | None = None
        self._hiss_taps: NDArray[np.complex128] | None = None
        self._loss = self._crosstalk = np.zeros(BINS_HZ.size)
        self._old: tuple[NDArray[np.complex128], NDArray[np.complex128], Floats] | None = None

    def set_taps(self, flux: Sequence[Floats], hiss: Sequence[Floats], crosstalk: Floats) -> None:
        """Use these from the next chunk on.

        Args:
            flux: taps of left and right channel, at most 1089 each.
            hiss: taps of both channels for hiss, at most 1089 each.
            crosstalk: crosstalk gain at each of `BINS_HZ`.
        """
        self._keep_old()
        self._taps, self._hiss_taps, self._crosstalk = response_of(flux), response_of(hiss), crosstalk

    def set_loss(self, gain: Floats) -> None:
        """Use this gain at each of `BINS_HZ` from the next chunk on, on the flux of both channels."""
        self._keep_old()
        self._loss = gain

    def _keep_old(self) -> None:
        if self._old is None and self._taps is not None and self._hiss_taps is not None:
            self._old = self._taps, self._hiss_taps, self._loss

    def run(self, flux: Floats, hiss: Floats, spacing_db: Floats | None) -> Floats:
        """Filter a chunk.

        Args:
            flux: shape (2, CHUNK).
            hiss: same shape.
            spacing_db: loss of the flux at 10 kHz at each sample, dB, same shape; None for none.
        """
        if self._taps is None or self._hiss_taps is None:
            raise RuntimeError("a filter without taps")
        extended = np.concatenate((self._past, np.concatenate((flux, hiss))), axis=1)
        self._past = extended[:, CHUNK:]
        spectrum = rfft(extended)
        flux_spectrum, hiss_spectrum = spectrum[:2], spectrum[2:]
        flux_spectrum = (flux_spectrum + self._crosstalk * flux_spectrum[::-1]) / (1 + self._crosstalk)
        gains = [(self._taps * self._loss, self._hiss_taps)]
        if self._old is not None:
            taps, hiss_taps, loss = self._old
            gains.append((taps * loss, hiss_taps))
            self._old = None
        spectra = [np.stack(x) for x in zip(*((flux_spectrum * f, hiss_spectrum * h) for f, h in gains), strict=True)]
        out = _with_spacing(spectra[0], spectra[1], spacing_db)
        return np.asarray(out[0] if len(out) == 1 else out[1] + RAMP * (out[0] - out[1]))


def _with_spacing(flux: NDArray[np.complex128], hiss: NDArray[np.complex128], spacing_db: Floats | None) -> Floats:
    """The last chunk of the sum of two spectra, the flux with its spacing loss.

    Args:
        flux: shape (filters, 2, bins).
        hiss: same shape.
        spacing_db: loss of the flux at 10 kHz at each sample, dB, shape (2, CHUNK); None for none.
    """
    if spacing_db is None:
        return np.asarray(irfft(flux + hiss)[..., -CHUNK:])
    low, high = spacing_db.min(axis=1), spacing_db.max(axis=1) + 1e-6
    count = 2 + int(float((high - low).max()) / _STEP_DB)
    steps = low + (high - low) * np.linspace(0.0, 1.0, count)[:, None]
    kept = irfft(flux * np.exp(-steps[:, None, :, None] * _NEPERS) + hiss)[..., -CHUNK:]
    left, at_step = (np.exp(-np.log(10) / 20 * db) for db in (spacing_db, steps))
    out = kept[0]
    for n in range(1, count):
        share = (left - at_step[n - 1][:, None]) / (at_step[n] - at_step[n - 1])[:, None]
        if count > 2:
            share = np.clip(share, 0, 1)
        out = out + share * (kept[n] - kept[n - 1])
    return np.asarray(out)
