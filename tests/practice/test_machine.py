"""The practice machine against closed formulas, measured by the tests' own code; and the effect of hands on it.

Expected losses are computed tables of published formulae (Wallace, Eargle, IEC 60094-1), as literals.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.measure.meters import Options
from bench.practice.facts import FaultFacts, MachineFacts, Table, TapeFacts
from bench.practice.machine import PracticeMachine
from bench.problem import Problem
from bench.tape.fluxivity import Fluxivity
from tests.cases import cases
from tests.measure.whole_array import azimuth
from tests.practice.deck import QUIET, RATE, TONES, deck, level_dbfs, phasor, play, reference, response, run, tone
from tests.results import a_reading


def test_a_right_machine_replays_the_reference_tape_flat() -> None:
    machine = deck(QUIET)
    assert level_dbfs(play(machine, "level")[:, 0], 315.0) == pytest.approx(-12.0, abs=0.01)
    for channel in (0, 1):
        assert list(response(machine, channel).values()) == pytest.approx([0.0] * 6, abs=0.03)


@pytest.mark.parametrize(
    ("um", "expected"),
    [
        # Wallace 1951, 54.575·d/λ, at 1, 3.15, 6.3, 8, 10, 12.5 kHz and 47.625 mm/s, re 315 Hz, computed.
        (0.25, [-0.20, -0.81, -1.71, -2.20, -2.77, -3.49]),
        (1.0, [-0.78, -3.25, -6.86, -8.81, -11.10, -13.96]),
    ],
)
def test_dirt_on_the_replay_head(um: float, expected: list[float]) -> None:
    machine = deck({**QUIET, "replay_dirt_left_um": um})
    low = level_dbfs(play(machine, "level")[:, 0], 315.0) + 12
    got = [db - low for db in response(machine).values()]
    assert got == pytest.approx(expected, abs=0.03)
    assert list(response(machine, channel=1).values()) == pytest.approx([0.0] * 6, abs=0.03)


def test_a_gap_that_is_not_made_good() -> None:
    # Eargle's factor 1.11, gap 1.5 µm at 47.625 mm/s, computed.
    machine = deck({**QUIET, "replay_gap_um": 1.5, "replay_gap_made_good_um": 0.0})
    got = response(machine)
    assert got[10000.0] == pytest.approx(-1.82, abs=0.03)
    assert got[12500.0] == pytest.approx(-2.92, abs=0.03)
    assert got[3150.0] == pytest.approx(-0.17, abs=0.03)


@pytest.mark.parametrize(
    ("arcmin", "at_10k", "at_12k5"), [(3.0, -0.173, -0.272), (6.0, -0.702, -1.108), (10.0, -2.012, -3.238)]
)
def test_azimuth_loses_treble(arcmin: float, at_10k: float, at_12k5: float) -> None:
    # 20 lg|sin x/x|, tracks of 0.6 mm at 47.625 mm/s, computed.
    got = response(deck({**QUIET, "replay_azimuth_arcmin": arcmin}))
    assert got[10000.0] == pytest.approx(at_10k, abs=0.03)
    assert got[12500.0] == pytest.approx(at_12k5, abs=0.03)


@pytest.mark.parametrize("hz", TONES)
def test_azimuth_delays_the_right_channel(hz: float) -> None:
    # 5.497 µs for each minute of arc: 0.9 mm at 47.625 mm/s, computed; positive when the right channel is late.
    heard = play(deck({**QUIET, "replay_azimuth_arcmin": 4.0}, tape={"noise_db": -150.0}), f"response-{hz:g}")
    turn = np.angle(phasor(heard[:, 0], hz) / phasor(heard[:, 1], hz))
    assert turn / (2 * np.pi * hz) * 1e6 == pytest.approx(4 * 5.497, abs=0.05)


def test_a_120_us_tape_on_70_us() -> None:
    # IEC 60094-1 clause 15, re 315 Hz, computed.
    machine = deck({**QUIET, "replay_t1_us": 70.0})
    low = level_dbfs(play(machine, "level")[:, 0], 315.0) + 12
    got = response(machine)
    assert [got[hz] - low for hz in (1000.0, 3150.0, 10000.0)] == pytest.approx([-1.031, -3.413, -4.383], abs=0.03)


def test_a_replay_equalisation_trimmer_is_a_shelf() -> None:
    # IEC 60094-1 clause 15: -3 dB of 120 µs is 84.95 µs: -2.926 dB at 10 kHz, -0.117 at 315 Hz, by hand.
    machine = deck({**QUIET, "replay_equalisation_left_db": -3.0})
    assert level_dbfs(play(machine, "level")[:, 0], 315.0) == pytest.approx(-12.117, abs=0.02)
    assert response(machine)[10000.0] == pytest.approx(-2.926, abs=0.05)


def test_speed_shifts_every_tone() -> None:
    machine = deck({**QUIET, "speed_percent": 1.0})
    heard = play(machine, "response-1000", 2.0)[:, 0]
    angles = np.unwrap(np.angle(np.array([phasor(heard[i : i + 4800], 1010.0) for i in range(0, 90000, 480)])))
    drift = np.polyfit(np.arange(angles.size) * 480 / RATE, angles, 1)[0]
    # phasor() restarts its phase at each slice, so the remaining phase advances with the tone.
    turns = 1010.0 * 480 / RATE
    seen = (drift * 480 / RATE / (2 * np.pi) + round(turns)) * RATE / 480
    assert seen == pytest.approx(1010.0, abs=0.01)


def test_an_auto_reverse_head_has_an_azimuth_for_each_direction() -> None:
    machine = deck({**QUIET, "auto_reverse": True}, heads=2, seed=2, misadjustment=1.0)
    wrong, late_us = machine.truth(), {}
    for direction in ("forward", "reverse"):
        machine.switch("direction", direction)
        readings = azimuth(play(machine, "response-3150"), RATE, Options()).readings
        late_us[direction] = next(a_reading(r).value for r in readings if r.quantity == "azimuth_delay") or 0.0
    # 5.497 µs for each minute of arc: 0.9 mm at 47.625 mm/s, computed, and less as it runs fast. What the amplifiers
    # delay is the same both ways.
    between = wrong["replay azimuth reverse"] - wrong["replay azimuth"]
    expected = between * 5.497 / (1 + wrong["speed"] / 100)
    assert late_us["reverse"] - late_us["forward"] == pytest.approx(expected, abs=0.1)
    assert abs(between) > 5


def test_recorded_and_replayed_comes_back_as_sent() -> None:
    machine = deck(QUIET)
    machine.load("work")
    machine.switch("transport", "record")
    for hz in (40.0, 315.0, 1000.0, 4000.0, 8000.0, 10000.0):
        heard = machine.process(tone(hz, -32.0, 1.5))[48000:]
        assert level_dbfs(heard[:, 0], hz) == pytest.approx(-32.0, abs=0.3), hz


def test_two_heads_record_then_replay() -> None:
    machine = deck(QUIET, heads=2, tape={"print_db": -150.0})
    machine.load("work")
    machine.switch("transport", "record")
    while_recording = machine.process(tone(1000.0, -20.0, 2.0))
    assert level_dbfs(while_recording[9600:, 0], 1000.0) == pytest.approx(-20.0, abs=0.01)
    machine.switch("transport", "stop")
    machine.rewind()
    machine.switch("transport", "play")
    assert level_dbfs(run(machine, 1.5)[24000:, 0], 1000.0) == pytest.approx(-20.0, abs=0.3)
    assert level_dbfs(run(machine, 1.5)[48000:, 0], 1000.0) < -90


def test_a_machine_agrees_with_its_own_recording() -> None:
    # Two heads: neither azimuth nor speed error shows on a tape that it recorded itself.
    machine = deck({**QUIET, "replay_azimuth_arcmin": 8.0, "speed_percent": 1.0}, heads=2)
    machine.load("work")
    machine.switch("transport", "record")
    machine.process(tone(8000.0, -32.0, 2.0))
    machine.rewind()
    machine.switch("transport", "play")
    heard = run(machine, 1.5)[24000:]
    left, right = phasor(heard[:, 0], 8000.0), phasor(heard[:, 1], 8000.0)
    assert abs(np.angle(left / right)) < 0.01
    assert 20 * np.log10(abs(left)) == pytest.approx(-32.0, abs=0.3)


def test_record_azimuth_shows_on_three_heads() -> None:
    machine = deck({**QUIET, "record_azimuth_arcmin": 4.0})
    machine.load("work")
    machine.switch("transport", "record")
    heard = machine.process(tone(6300.0, -32.0, 1.5))[48000:]
    turn = np.angle(phasor(heard[:, 0], 6300.0) / phasor(heard[:, 1], 6300.0))
    assert turn / (2 * np.pi * 6300.0) * 1e6 == pytest.approx(-4 * 5.497, abs=0.1)


def test_three_heads_replay_after_the_head_distance() -> None:
    click = np.zeros((RATE, 2))
    click[24000] = 0.2
    times = []
    for mm in (4.0, 8.0):
        machine = deck({**QUIET, "head_distance_mm": mm})
        machine.load("work")
        machine.switch("transport", "record")
        times.append(int(np.argmax(np.abs(machine.process(click)[:, 0]))) / RATE)
    assert times[1] - times[0] == pytest.approx(4.0 / 47.625, abs=1.5 / RATE)


def test_erasure_leaves_what_the_figures_say() -> None:
    machine = deck({**QUIET, "erase_db": -40.0}, tape={"noise_db": -150.0}, heads=2)
    machine.load("work")
    machine.switch("transport", "record")
    machine.process(tone(1000.0, -12.0, 2.0))
    machine.rewind()
    run(machine, 2.0)
    machine.rewind()
    machine.switch("transport", "play")
    assert level_dbfs(run(machine, 1.5)[24000:, 0], 1000.0) == pytest.approx(-12.0 - 40.0, abs=0.5)


def test_hiss_has_the_level_of_its_figures() -> None:
    # The noise of bias-erased tape, as data sheets give it.
    machine = deck(QUIET, tape={"noise_db": -50.0})
    machine.load("work")
    machine.switch("transport", "record")
    heard = run(machine, 5.0)[RATE:, 0]
    power = np.abs(np.fft.rfft(heard)) ** 2
    hz = np.fft.rfftfreq(heard.size, 1 / RATE)
    rms = np.sqrt(2 * power[(hz > 22.4) & (hz < 22400)].sum()) / heard.size
    # Re the reference level, a sine of -12 dBFS (rms 3.01 dB lower).
    assert 20 * np.log10(rms) + 12 + 3.01 == pytest.approx(-50.0, abs=0.2)


def test_bias_trades_treble_for_level() -> None:
    """Under-bias too bright, over-bias dull: 10 kHz re 400 Hz. Common practice, no source."""
    treble = {}
    for bias in (-3.0, 0.0, 3.0):
        machine = deck({**QUIET, "bias_left_db": bias})
        machine.load("work")
        machine.switch("transport", "record")
        heard = machine.process(tone(400.0, -32.0, 1.5) + tone(10000.0, -32.0, 1.5))[48000:, 0]
        treble[bias] = level_dbfs(heard, 10000.0) - level_dbfs(heard, 400.0)
    assert treble[0.0] == pytest.approx(0.0, abs=0.1)
    assert treble[-3.0] > 2.5
    assert treble[3.0] < -4.0


def test_third_harmonic_is_3_percent_at_mol() -> None:
    # MOL: the output level at which the third harmonic is 3 % (DIN 45500: -30.46 dB).
    machine = deck(QUIET, tape={"mol_db": 4.5, "noise_db": -150.0})
    machine.load("work")
    machine.switch("transport", "record")
    found = {}
    for sent in (4.0, 5.0, 6.0):
        heard = machine.process(tone(315.0, -12.0 + sent, 1.5))[48000:, 0]
        found[level_dbfs(heard, 315.0) + 12] = level_dbfs(heard, 945.0) - level_dbfs(heard, 315.0)
    at_mol = np.interp(4.5, sorted(found), [found[k] for k in sorted(found)])
    assert at_mol == pytest.approx(-30.46, abs=0.2)


def busy(of: PracticeMachine, heads: int, tape: Literal["work", "reference"]) -> None:
    """Start it: recording on three heads, replaying on two, or playing the reference tape."""
    of.load(tape)
    if tape == "work":
        of.switch("transport", "record")
    if heads == 2:
        of.process(tone(1000.0, -20.0, 0.7))
        of.rewind()
    if heads == 2 or tape == "reference":
        of.switch("transport", "play")


@cases(12)
@given(
    st.lists(st.integers(1, 3000), min_size=1, max_size=12),
    st.sampled_from([(3, "work"), (2, "work"), (3, "reference")]),
)
def test_the_same_samples_whatever_the_blocks(
    blocks: list[int], state: tuple[int, Literal["work", "reference"]]
) -> None:
    spoiled: Table = {
        "dropouts_per_minute": 200.0,
        "magnetised": 1.0,
        "speed_wander_percent": 0.5,
        "azimuth_weave_arcmin": 3.0,
        "contour_db": 1.0,
        "replay_height_mm": 0.1,
        "hum_db": -40.0,
        "trimmer_settling_s": 0.1,
    }
    sent = tone(1000.0, -20.0, sum(blocks) / RATE + 0.1)[: sum(blocks)]
    whole, split = (deck(spoiled, heads=state[0], seed=5, misadjustment=1.0) for _ in range(2))
    for machine in (whole, split):
        busy(machine, *state)
        machine.turn("replay level left", 20.0)
    parts, at = [], 0
    for n in blocks:
        parts.append(split.process(sent[at : at + n]))
        at += n
    assert np.array_equal(whole.process(sent), np.concatenate(parts))


def test_the_same_seed_the_same_machine() -> None:
    def heard(seed: int) -> np.ndarray:
        return play(deck(seed=seed, misadjustment=1.0), "response-6300", 0.3)

    assert np.array_equal(heard(3), heard(3))
    assert not np.array_equal(heard(3), heard(4))


def test_cleaning_gives_back_what_dirt_took() -> None:
    dirty = FaultFacts("dirt", {"replay_dirt_left_um": 1.0}, ("clean",))
    machine = deck(QUIET, faults=[dirty])
    before = response(machine)[10000.0]
    machine.clean()
    assert before < -11
    assert response(machine)[10000.0] == pytest.approx(0.0, abs=0.03)


def test_cleaning_does_not_mend_everything() -> None:
    machine = deck(QUIET, faults=[FaultFacts("worn", {"replay_gap_um": 2.5})])
    before = response(machine)[10000.0]
    machine.clean()
    machine.demagnetise()
    assert before < -2
    assert response(machine)[10000.0] == pytest.approx(before, abs=0.01)


def test_a_fault_of_a_trimmer_is_turned_right_again() -> None:
    machine = deck(QUIET, faults=[FaultFacts("off", {"replay_level_left_db": -5.0})])
    assert machine.truth()["replay level left"] == pytest.approx(-5.0)
    assert level_dbfs(play(machine, "level")[:, 0], 315.0) == pytest.approx(-17.0, abs=0.02)


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda m: m.switch("transport", "record"), "no tape is on the machine"),
        (lambda m: (m.load("reference"), m.switch("transport", "record")), "the reference tape is on the machine"),
        (lambda m: (m.load("reference"), m.rewind("response-7")), "has no section response-7"),
        (lambda m: (m.load("work"), m.rewind("level")), "the reference tape is not on the machine"),
        (lambda m: m.switch("speed", "fast"), "no control speed"),
        (lambda m: m.switch("transport", "reverse"), "no position reverse"),
        (lambda m: m.switch("direction", "reverse"), "deck runs forward only"),
        (lambda m: m.turn("volume", 1.0), "no trimmer volume"),
        (lambda m: m.load("other"), "no tape called other"),
    ],
)
def test_what_can_not_be_done_is_said(act: object, words: str) -> None:
    with pytest.raises(Problem, match=words):
        act(deck())  # type: ignore[operator]


def test_a_reference_tape_of_another_speed_is_refused() -> None:
    machine = MachineFacts("deck", 3, 47.625, 0.9, (120.0, 3180.0), Fluxivity(250.0, "DIN"), -12.0, -12.0)
    with pytest.raises(Problem, match=r"is for 9\.5 cm/s \(3¾ ips\) and deck runs at 4\.76"):
        PracticeMachine(machine, TapeFacts("tape", "I"), reference(95.25), seed=1)
