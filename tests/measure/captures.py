"""Sound to measure, made from its definition alone, without any code of the measuring side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bench.measure.reading import Measured, Reading, Result
from tests.results import a_reading

Floats = NDArray[np.float64]


def clock(seconds: float, rate: float) -> Floats:
    """The time of each sample."""
    return np.arange(round(seconds * rate)) / rate


def tone(
    hz: float,
    dbfs: float,
    seconds: float,
    rate: float = 48000.0,
    *,
    flutter: Sequence[tuple[float, float]] = (),
    harmonics: Sequence[float] = (),
    speed: float = 1.0,
) -> Floats:
    """A tone of one channel, shape (frames,).

    Args:
        hz: frequency at nominal speed.
        dbfs: level; a full-scale sine is 0 dBFS.
        seconds: length.
        rate: samples a second.
        flutter: rate in Hz and peak deviation, as a fraction of the speed, of each component.
        harmonics: amplitudes of harmonics 2, 3 … relative to the fundamental.
        speed: speed of the tape; nominal is 1.
    """
    t = clock(seconds, rate)
    turns = speed * t
    for k, (fm, peak) in enumerate(flutter):
        turns = turns + speed * peak / (2 * np.pi * fm) * np.sin(2 * np.pi * fm * t + 0.7 * k)
    phase = 2 * np.pi * hz * turns
    x = np.sin(phase)
    for k, part in enumerate(harmonics, 2):
        x = x + part * np.sin(k * phase + 0.4 * k)
    return np.asarray(10.0 ** (dbfs / 20.0) * x)


def hiss(dbfs: float, seconds: float, rate: float = 48000.0, *, seed: int = 0, channels: int = 1) -> Floats:
    """White noise whose rms in 20 kHz is that of a sine of this level; shape (frames, channels)."""
    rng = np.random.default_rng(seed)
    rms = 10.0 ** (dbfs / 20.0) / np.sqrt(2.0) * np.sqrt(rate / 40000.0)
    return np.asarray(rms * rng.standard_normal((round(seconds * rate), channels)))


def mono(x: Floats) -> Floats:
    """The samples as a capture of one channel."""
    return x[:, None]


def results(measured: Measured, quantity: str, **wanted: object) -> list[Result]:
    """The results of a quantity with these attributes; `method` by its name."""

    def answers(r: Result) -> bool:
        return all((r.method.name if k == "method" else getattr(r, k)) == v for k, v in wanted.items())

    return [r for r in measured.readings if r.quantity == quantity and answers(r)]


def readings(measured: Measured, quantity: str, **wanted: object) -> list[Reading]:
    """The readings of a quantity with these attributes; none may be a `NoReading`."""
    return [a_reading(r) for r in results(measured, quantity, **wanted)]


def result(measured: Measured, quantity: str, **wanted: object) -> Result:
    """The one result of a quantity with these attributes."""
    found = results(measured, quantity, **wanted)
    assert len(found) == 1, f"{quantity} {wanted}: {len(found)} results"
    return found[0]


def reading(measured: Measured, quantity: str, **wanted: object) -> Reading:
    """The one reading of a quantity with these attributes; it must not be a `NoReading`."""
    return a_reading(result(measured, quantity, **wanted))


def value(measured: Measured, quantity: str, **wanted: object) -> float:
    """The value of that reading."""
    return reading(measured, quantity, **wanted).value
