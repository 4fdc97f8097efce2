"""Effects of print-through, contour effect, wiring faults and height errors."""

from __future__ import annotations

import numpy as np
import pytest

from bench.measure.meters import Options
from bench.practice.media import MEDIA, echo_corner_hz
from tests.measure.whole_array import erasure, level, noise
from tests.practice.deck import QUIET, RATE, deck, level_dbfs, phasor, play, run, tone
from tests.results import a_reading


def test_print_is_heard_one_layer_away() -> None:
    machine = deck({**QUIET, "reel_mm": 20.0}, heads=2, tape={"print_db": -40.0, "noise_db": -120.0})
    machine.load("work")
    machine.switch("transport", "record")
    machine.process(np.concatenate((np.zeros((3 * RATE, 2)), tone(1000.0, -12.0, 0.5), np.zeros((3 * RATE, 2)))))
    machine.rewind()
    machine.switch("transport", "play")
    heard = run(machine, 6.4)[:, 0]
    # A turn of 20 mm is 62.83 mm of tape, 1.319 s at 47.625 mm/s, before and behind the tone that begins at 3.0 s.
    for at in (3.0 - 1.319, 3.0 + 1.319):
        echo = heard[round((at + 0.15) * RATE) : round((at + 0.4) * RATE)]
        assert level_dbfs(echo, 1000.0) == pytest.approx(-52.0, abs=0.5)
    quiet = heard[round(2.2 * RATE) : round(2.5 * RATE)]
    assert level_dbfs(quiet, 1000.0) < -80


def test_print_is_of_long_wavelengths() -> None:
    # 12 µm of tape: wavelengths below 75 µm (632 Hz at 47.625 mm/s, by hand) hardly reach the next layer.
    assert echo_corner_hz(MEDIA["I"], 47.625) == pytest.approx(631.6, abs=0.5)
    assert echo_corner_hz(MEDIA["open reel"], 381.0) == pytest.approx(1212.8, abs=0.5)


def test_a_magnetised_machine_takes_treble_on_every_pass() -> None:
    """Common practice, no source: a small, slow loss; the second pass of a new recording is worse than the first."""
    machine = deck({**QUIET, "magnetised": 1.0}, heads=2, tape={"noise_db": -75.0, "print_db": -150.0})
    machine.load("work")
    machine.switch("transport", "record")
    machine.process(tone(400.0, -38.0, 2.5) + tone(10000.0, -38.0, 2.5))
    lost = []
    for turn in range(7):
        if turn == 5:
            machine.demagnetise()
        machine.rewind()
        machine.switch("transport", "play")
        heard = run(machine, 2.2)[RATE // 2 :]
        lost.append([level(heard, RATE, Options(frequency=hz)).readings[0] for hz in (10000.0, 400.0)])
    high, low = (np.array([a_reading(r[i]).value for r in lost], dtype=float) for i in (0, 1))
    uncertainty = max(a_reading(r[0]).uncertainty for r in lost)
    # 0.02 µm a pass by Wallace's 54.575·d/λ, λ = 4.7625 µm: 0.229 dB; at 400 Hz 0.009 dB.
    assert np.diff(high[:5]) == pytest.approx([-0.229] * 4, abs=2 * uncertainty)
    assert 2 * uncertainty < 0.229
    assert abs(low[4] - low[0]) < 0.06
    # After demagnetising, nothing more is lost; the loss by the head's magnetism is gone, that of the tape remains.
    assert high[6] == pytest.approx(high[5], abs=2 * uncertainty)
    assert high[5] < high[0] - 0.6
    # A new recording has no loss.
    machine.rewind()
    machine.switch("transport", "record")
    machine.process(tone(10000.0, -38.0, 2.5))
    machine.rewind()
    machine.switch("transport", "play")
    again = a_reading(level(run(machine, 2.2)[RATE // 2 :], RATE, Options(frequency=10000.0)).readings[0]).value
    assert again == pytest.approx(-38.0, abs=0.3)


def test_a_magnetised_machine_spoils_the_reference_tape_too() -> None:
    machine = deck({**QUIET, "magnetised": 1.0}, section_s=2.0)
    machine.load("reference")
    machine.rewind("response-10000")
    machine.switch("transport", "play")
    heard = run(machine, 16.8)[:, 0]
    # The section is two seconds long and is wound back in two: four passes of 0.229 dB each.
    first, fifth = (level_dbfs(heard[round(t * RATE) : round((t + 0.4) * RATE)], 10000.0) for t in (0.3, 16.3))
    assert fifth - first == pytest.approx(-4 * 0.229, abs=0.05)


def test_tape_that_has_passed_the_bias_is_noisier_than_virgin_tape() -> None:
    # Common practice, no source: about 2 dB.
    machine = deck(QUIET, heads=2)
    machine.load("work")
    machine.switch("transport", "record")
    machine.process(np.zeros((3 * RATE, 2)))
    machine.switch("transport", "play")
    virgin = noise(run(machine, 4.0)[RATE:], RATE, Options())
    machine.rewind()
    biased = noise(run(machine, 2.9)[RATE // 2 :], RATE, Options())
    readings = [next(r for r in m.readings if r.method.name.startswith("A-weighted")) for m in (biased, virgin)]
    assert a_reading(readings[0]).value - a_reading(readings[1]).value == pytest.approx(2.0, abs=0.4)


@pytest.mark.parametrize(
    ("iec_type", "db"), [("I", 60.0), pytest.param("II", 57.0, marks=pytest.mark.long), ("IV", 52.0)]
)
def test_some_tapes_are_harder_to_erase(iec_type: str, db: float) -> None:
    # Common practice, no source: metal is allowed 55 dB where others must reach 60.
    machine = deck({**QUIET, "erase_db": -60.0, "tape_selector": iec_type}, iec_type=iec_type, tape={"noise_db": -80.0})
    machine.load("work")
    machine.switch("transport", "record")
    machine.process(tone(1000.0, -12.0, 7.0))
    machine.rewind()
    heard = machine.process(np.zeros((6 * RATE, 2)))[RATE:]
    reading = erasure(heard, RATE, Options(frequency=1000.0, reference_level=-12.0)).readings[0]
    assert a_reading(reading).bound is None
    assert a_reading(reading).value == pytest.approx(db, abs=0.5)


def test_the_heads_edges_lift_and_dip_long_wavelengths() -> None:
    machine = deck({**QUIET, "contour_db": 3.0, "contour_mm": 0.5})
    machine.load("work")
    machine.switch("transport", "record")
    # Edges half a wavelength away lift, a whole one away dip: 47.6 and 95.25 Hz for 0.5 mm.
    lifted = level_dbfs(machine.process(tone(48.0, -32.0, 3.0))[RATE:, 0], 48.0)
    dipped = level_dbfs(machine.process(tone(95.0, -32.0, 3.0))[RATE:, 0], 95.0)
    assert lifted > -31.0
    assert dipped < -32.5
    assert level_dbfs(machine.process(tone(2000.0, -32.0, 2.0))[RATE:, 0], 2000.0) == pytest.approx(-32.0, abs=0.1)


def test_a_head_beside_its_tracks_hears_less_and_some_of_the_other() -> None:
    machine = deck({**QUIET, "replay_height_mm": 0.15})
    # A quarter of 0.6 mm is lost, and the guard of 0.3 mm is not reached: 20 lg 0.75.
    heard = play(machine, "level")
    assert level_dbfs(heard[:, 0], 315.0) == pytest.approx(-12 - 2.50, abs=0.02)
    assert level_dbfs(heard[:, 1], 315.0) == pytest.approx(-12 - 2.50, abs=0.02)


@pytest.mark.parametrize(
    ("practice", "left", "right"),
    [
        ({"dead_channel": "left"}, 0.0, 1.0),
        ({"inverted_channel": "right"}, 1.0, -1.0),
        ({"swapped_channels": True, "dead_channel": "left"}, 1.0, 0.0),
    ],
)
def test_wires(practice: dict[str, float | str | bool], left: float, right: float) -> None:
    whole = phasor(play(deck(QUIET), "level")[:, 0], 315.0)
    heard = play(deck({**QUIET, **practice}), "level")
    assert phasor(heard[:, 0], 315.0) / whole == pytest.approx(left, abs=1e-3)
    assert phasor(heard[:, 1], 315.0) / whole == pytest.approx(right, abs=1e-3)


def test_under_bias_makes_a_recording_rough() -> None:
    floors = []
    for bias in (0.0, -6.0):
        machine = deck({**QUIET, "bias_left_db": bias}, tape={"modulation_noise_db": -40.0, "noise_db": -120.0})
        machine.load("work")
        machine.switch("transport", "record")
        heard = machine.process(tone(3000.0, -20.0, 4.0))[RATE:, 0]
        power = np.abs(np.fft.rfft(heard * np.hanning(heard.size))) ** 2
        hz = np.fft.rfftfreq(heard.size, 1 / RATE)
        beside = power[(np.abs(hz - 3000) > 20) & (np.abs(hz - 3000) < 1500)].sum()
        floors.append(10 * np.log10(beside / power[np.abs(hz - 3000) < 3].sum()))
    # Modulation noise of -40 dB below 500 Hz: some 80 % of its power lies within 1.5 kHz of the tone.
    assert floors[0] == pytest.approx(-41.0, abs=1.5)
    assert floors[1] > floors[0] + 2.0
