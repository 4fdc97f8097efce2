"""Tones: exact level by AES17, exact frequency, the same samples in any blocks."""

from __future__ import annotations

import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from bench.problem import Problem
from bench.signals.tones import EDGE_S, Gap, Multitone, SteadyTone, Tone, ToneSequence
from tests.cases import cases

RATE = 48000

tones = st.builds(
    Tone,
    hz=st.floats(20.0, 3900.0),
    dbfs=st.floats(-60.0, 0.0),
    seconds=st.floats(0.001, 0.2),
    channels=st.sampled_from(["both", "left", "right"]),
)
parts = st.lists(tones | st.builds(Gap, st.floats(0.0, 0.1)), max_size=6)
cuts = st.lists(st.integers(0, 5000), max_size=12)


def level(samples: NDArray[np.float64]) -> float:
    """AES17: the rms level of a sine whose peak is full scale is 0 dBFS."""
    return float(20.0 * np.log10(np.sqrt(2.0 * np.mean(samples**2))))


@pytest.mark.parametrize("dbfs", [0.0, -6.0, -20.0, -60.0])
@pytest.mark.parametrize("hz", [40.0, 400.0, 1000.0, 12500.0])
def test_the_level_is_exact(hz: float, dbfs: float) -> None:
    second = SteadyTone(Tone(hz, dbfs), RATE).render(RATE, RATE)  # whole cycles
    assert level(second[:, 0]) == pytest.approx(dbfs, abs=1e-9)
    assert np.abs(second).max() <= 10.0 ** (dbfs / 20.0) + 1e-15


@pytest.mark.parametrize("hz", [10000.0, 3150.3, 0.1 * 3**8])
def test_the_frequency_stays_exact_for_hours(hz: float) -> None:
    late = 24 * 3600 * RATE + 77
    got = SteadyTone(Tone(hz, 0.0), RATE).render(late, 4800)[:, 0]
    turn = Fraction(hz) / RATE  # fractions of integers of any size: the phase without any rounding
    cycles = np.array([float(turn * n % 1) for n in range(late, late + 4800)])
    np.testing.assert_allclose(got, np.sin(2.0 * np.pi * cycles), atol=1e-9)


def test_a_tone_is_what_an_independent_generator_makes(tmp_path: Path) -> None:
    """sox's synth, a general-purpose generator, 32-bit float, away from the edges."""
    raw = tmp_path / "tone.f64"
    subprocess.run(
        f"sox -D -n -r 48000 -c 1 -e floating-point -b 64 {raw} synth 1 sine 997 gain -12".split(), check=True
    )
    sox = np.fromfile(raw, dtype="<f8")
    ours = SteadyTone(Tone(997.0, -12.0, 1.0), RATE).render(0, RATE)[:, 0]
    edge = round(EDGE_S * RATE)
    np.testing.assert_allclose(ours[edge:-edge], sox[edge:-edge], atol=2e-9)  # sox works in 32-bit integers


def test_edges_rise_and_fall_without_a_click() -> None:
    tone = SteadyTone(Tone(1000.0, 0.0, 0.1), RATE)
    whole = tone.render(-100, 5000)[:, 0]
    np.testing.assert_array_equal(whole[:100], 0.0)
    np.testing.assert_array_equal(whole[4900:], 0.0)
    edge = round(EDGE_S * RATE)
    assert np.abs(whole[100 : 100 + edge // 4]).max() < 0.2
    middle = whole[100 + edge : 4900 - edge]
    np.testing.assert_allclose(middle, np.sin(2 * np.pi * 1000 * np.arange(edge, 4800 - edge) / RATE), atol=1e-12)
    spectrum = np.abs(np.fft.rfft(whole)) ** 2
    hz = np.fft.rfftfreq(len(whole), 1 / RATE)
    far = spectrum[(hz > 3000.0)].sum() / spectrum.sum()
    assert 10.0 * np.log10(far) < -60.0  # an abrupt start would give -30 dB there


def test_channels() -> None:
    for channels, silent in (("left", 1), ("right", 0)):
        both = SteadyTone(Tone(500.0, -3.0, 0.1, channels), RATE).render(0, 4800)  # type: ignore[arg-type]
        np.testing.assert_array_equal(both[:, silent], 0.0)
        assert np.abs(both[:, 1 - silent]).max() > 0.5


@given(parts, cuts)
@cases(150)
def test_a_sequence_is_the_same_in_blocks_of_any_size(items: list[Tone | Gap], sizes: list[int]) -> None:
    sequence = ToneSequence(items, 8000)
    frames = sequence.frames
    assert frames is not None
    whole = sequence.render(0, frames + 50)
    pieces, at = [np.zeros((0, 2))], 0
    for size in [*sizes, max(0, frames + 50 - sum(sizes))]:
        pieces.append(sequence.render(at, size))
        at += size
    joined = np.concatenate(pieces)
    np.testing.assert_array_equal(joined[: len(whole)], whole)
    np.testing.assert_array_equal(whole[frames:], 0.0)


@given(parts)
def test_each_part_lies_where_its_span_says(items: list[Tone | Gap]) -> None:
    sequence = ToneSequence(items, 8000)
    assert sequence.frames == sum(span.frames or 0 for span in sequence.spans)
    for span in sequence.spans:
        assert span.frames is not None
        got = sequence.render(span.start, span.frames)
        if isinstance(span.part, Gap):
            np.testing.assert_array_equal(got, 0.0)
        else:
            assert isinstance(span.part, Tone)
            np.testing.assert_array_equal(got, SteadyTone(span.part, 8000).render(0, span.frames))


def test_a_sequence_may_end_in_a_tone_without_end() -> None:
    sequence = ToneSequence([Gap(0.1), Tone(1000.0, -6.0)], RATE)
    assert sequence.frames is None
    np.testing.assert_array_equal(
        sequence.render(10 * RATE, 100), SteadyTone(Tone(1000.0, -6.0), RATE).render(10 * RATE - 4800, 100)
    )
    with pytest.raises(Problem, match="never ends"):
        ToneSequence([Tone(1000.0, -6.0), Gap(1.0)], RATE)


def test_sequences_can_hold_other_sources() -> None:
    inner = ToneSequence([Tone(500.0, -10.0, 0.1), Gap(0.05)], RATE)
    outer = ToneSequence([Gap(0.01), inner, inner], RATE)
    assert outer.frames == 480 + 2 * 7200
    np.testing.assert_array_equal(outer.render(480 + 7200, 7200), inner.render(0, 7200))


def test_tones_together_add_up() -> None:
    some = [Tone(400.0, -20.0), Tone(10000.0, -20.0, 1.0), Tone(1000.0, -12.0, 0.5, "left")]
    multitone = Multitone(some, RATE)
    assert multitone.frames is None
    np.testing.assert_allclose(
        multitone.render(100, 2000), sum(SteadyTone(t, RATE).render(100, 2000) for t in some), atol=1e-15
    )
    assert Multitone(some[1:], RATE).frames == RATE
    with pytest.raises(Problem, match=r"pass full scale by 3\.5 dB"):
        Multitone([Tone(400.0, -6.0), Tone(500.0, 0.0)], RATE)
    Multitone([Tone(400.0, 0.0, 1.0, "left"), Tone(500.0, 0.0, 1.0, "right")], RATE)


@pytest.mark.parametrize(
    ("tone", "said"),
    [
        (Tone(24000.0, -10.0), "24 kHz can't be sent: it must lie between 0 and 24 kHz"),
        (Tone(0.0, -10.0), "0 Hz can't be sent"),
        (Tone(float("nan"), -10.0), "nan Hz can't be sent"),
        (Tone(1000.0, 0.1), "0.1 dBFS can't be sent"),
        (Tone(1000.0, float("nan")), "nan dBFS can't be sent"),
        (Tone(1000.0, -10.0, 0.0), "a tone of 0 s can't be sent"),
        (Tone(1000.0, -10.0, float("inf")), "a tone of inf s can't be sent"),
    ],
)
def test_an_impossible_tone_is_one_sentence(tone: Tone, said: str) -> None:
    with pytest.raises(Problem) as caught:
        SteadyTone(tone, RATE)
    assert said in caught.value.sentence


@pytest.mark.parametrize("seconds", [-0.1, float("nan"), float("inf")])
def test_an_impossible_gap_is_one_sentence(seconds: float) -> None:
    with pytest.raises(Problem, match="gap"):
        ToneSequence([Gap(seconds)], RATE)


def test_what_is_sent_is_said_in_words() -> None:
    assert SteadyTone(Tone(400.0, -12.0), RATE).description == "400 Hz at −12.0 dBFS"
    assert (
        ToneSequence([Gap(1.0), Tone(12500.0, -20.0, 2.0, "left")], RATE).description
        == "12.5 kHz at −20.0 dBFS, left only"
    )
    assert ToneSequence([Tone(40.0, -20.0, 2.0), Gap(1.0), Tone(3150.0, -20.0, 2.0)], RATE).description == (
        "2 tones, 40 Hz to 3.15 kHz, 5.0 s in all"
    )
    assert Multitone([Tone(400.0, -20.0), Tone(10000.0, -20.0)], RATE).description == (
        "400 Hz at −20.0 dBFS with 10 kHz at −20.0 dBFS"
    )
    assert ToneSequence([Gap(1.0)], RATE).description == "silence"
