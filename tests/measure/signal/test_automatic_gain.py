"""An automatic gain is recognised by the noise in pauses, on any grade of tape; tape alone is never taken for one."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from tests.measure.captures import mono
from tests.measure.spoiled import Tone, stereo
from tests.measure.whole_array import level, speed
from tests.results import a_reading, no_reading
from tests.rough_tape.grades import GRADES, Grade
from tests.rough_tape.interface import automatic_gain
from tests.rough_tape.scenes import Section, sequence

RATE = 44100.0
TONES = Section(1000.0, 0.0, 2.0), Section(3150.0, -15.0, 2.0)


@pytest.mark.parametrize(("grade", "announced"), list(zip(GRADES, (False, True, False, True), strict=True)))
def test_levels_are_refused_and_speed_is_not(grade: Grade, announced: bool) -> None:
    capture = sequence(np.random.default_rng((11, announced)), grade, TONES, rate=RATE, announced=announced)
    options = Options(frequency=1000.0)
    a_reading(level(capture.samples, RATE, options).readings[0])
    turned = automatic_gain(capture.samples, RATE)
    told = level(turned, RATE, options)
    assert no_reading(told.readings[0]).reason.startswith("an automatic gain is in the way")
    assert told.warnings[0].startswith("an automatic gain is in the way")
    a_reading(speed(turned, RATE, Options(nominal=3150.0)).readings[0])


def test_a_long_silence_before_the_first_tone_is_no_pause() -> None:
    # The gain is at its maximum before the tone begins, so the noise ahead of it does not rise.
    x = stereo(Tone(3150.0, -20.0, 5.7), RATE)[:, 0]
    silence = np.zeros(round(2.5 * RATE))
    noise = 5e-5 * np.random.default_rng(3).standard_normal(len(x) + round(3.6 * RATE))
    noise[len(silence) : len(silence) + len(x)] += x
    told = level(automatic_gain(noise[:, None], RATE), RATE, Options(frequency=3150.0))
    assert no_reading(told.readings[0]).reason.startswith("an automatic gain is in the way")


def test_a_tone_that_rises_from_afar_is_no_gain() -> None:
    t = np.arange(round(20.0 * RATE)) / RATE
    rising = 10.0 ** ((-60.0 + 2.5 * t) / 20.0) * np.sin(2 * np.pi * 1000.0 * t)
    x = np.concatenate(
        [stereo(Tone(1000.0, -10.0, 3.0), RATE)[:, 0], rising, stereo(Tone(1000.0, -10.0, 3.0), RATE)[:, 0]]
    )
    told = level(mono(x + 1e-4 * np.random.default_rng(1).standard_normal(len(x))), RATE, Options(frequency=1000.0))
    assert not any("automatic gain" in w for w in told.warnings)
