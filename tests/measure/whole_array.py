"""The meters fed with a whole array of shape (frames, channels) at once."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from numpy import float64
from numpy.typing import NDArray

from bench.measure.meters import Meter, Options
from bench.measure.quantities.azimuth import AzimuthMeter
from bench.measure.quantities.distortion import DistortionMeter
from bench.measure.quantities.dropouts import DropoutMeter
from bench.measure.quantities.erasure import ErasureMeter
from bench.measure.quantities.everything import EverythingMeter
from bench.measure.quantities.flutter import FlutterMeter
from bench.measure.quantities.headroom import HeadroomMeter
from bench.measure.quantities.hum import HumMeter
from bench.measure.quantities.level import LevelMeter
from bench.measure.quantities.noise import NoiseMeter
from bench.measure.quantities.programme.azimuth import ProgrammeMeter
from bench.measure.quantities.response import ResponseMeter
from bench.measure.quantities.separation import SeparationMeter
from bench.measure.quantities.speed import SpeedMeter
from bench.measure.reading import Measured
from bench.measure.tone.finding.finder import FoundTone, ToneFinder


def measured(
    make: Callable[[float, int, Options | None], Meter],
    samples: NDArray[float64],
    sample_rate: float,
    options: Options | None = None,
) -> Measured:
    """The result of a new meter for the whole array."""
    meter = make(sample_rate, samples.shape[1], options)
    meter.feed(samples)
    return meter.finish()


azimuth = partial(measured, AzimuthMeter)
distortion = partial(measured, DistortionMeter)
dropouts = partial(measured, DropoutMeter)
erasure = partial(measured, ErasureMeter)
everything = partial(measured, EverythingMeter)
flutter = partial(measured, FlutterMeter)
headroom = partial(measured, HeadroomMeter)
hum = partial(measured, HumMeter)
level = partial(measured, LevelMeter)
noise = partial(measured, NoiseMeter)
programme_delay = partial(measured, ProgrammeMeter)
response = partial(measured, ResponseMeter)
separation = partial(measured, SeparationMeter)
speed = partial(measured, SpeedMeter)


def find_tones(samples: NDArray[float64], sample_rate: float) -> list[FoundTone]:
    """All steady tones of the array."""
    finder = ToneFinder(sample_rate, samples.shape[1])
    return [*finder.feed(samples), *finder.finish()]
