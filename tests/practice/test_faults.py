"""For each shipped fault: which readings move, which way and by how much, measured as a capture of a deck would be.

Figures are the published formulae worked by hand, or common practice without a source where no formula is named.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bench.measure.azimuth import azimuth
from bench.measure.distortion import distortion
from bench.measure.flutter import flutter
from bench.measure.hum import hum
from bench.measure.level import level
from bench.measure.meters import Options
from bench.measure.names import Measured, Reading
from bench.measure.noise import noise
from bench.measure.separation import separation
from bench.measure.speed import speed
from bench.practice.machine import PracticeMachine
from tests.practice.deck import RATE, play, tone
from tests.practice.test_shipped import SHEETS, recorded, shipped

MACHINE = "three-head-cassette"
SENT = -12.0


def only(measured: Measured, quantity: str, channel: str, method: str = "") -> Reading:
    """The first reading that answers to these."""
    for reading in measured.readings:
        if reading.quantity == quantity and reading.channel == channel and method in reading.method:
            return reading
    raise AssertionError(f"no {quantity} of {channel}")


def section(id_: str, seconds: float, measure: Callable[..., Measured], **options: float) -> Callable[..., Measured]:
    return lambda m: measure(play(m, id_, seconds), RATE, Options(**options))  # type: ignore[arg-type]


def made(hz: float, db: float, measure: Callable[..., Measured], **options: object) -> Callable[..., Measured]:
    """Of a recording of a tone."""

    def taken(m: PracticeMachine) -> Measured:
        return measure(recorded(m, 3, tone(hz, SENT + db, 3.0)), RATE, Options(**options))  # type: ignore[arg-type]

    return taken


def one_side(m: PracticeMachine) -> Measured:
    sent = tone(1000.0, SENT, 3.0)
    sent[:, 1] = 0.0
    return level(recorded(m, 3, sent), RATE, Options(frequency=1000.0))


def silence(measure: Callable[..., Measured]) -> Callable[..., Measured]:
    return lambda m: measure(recorded(m, 3, np.zeros((4 * RATE, 2))), RATE, Options(reference_level=SENT))


def erased(m: PracticeMachine) -> Measured:
    recorded(m, 3, tone(1000.0, SENT, 4.0))
    return level(recorded(m, 3, np.zeros((4 * RATE, 2))), RATE, Options(frequency=1000.0))


def driven_left(m: PracticeMachine) -> Measured:
    sent = tone(1000.0, SENT, 3.0)
    sent[:, 1] = 0.0
    return separation(recorded(m, 3, sent), RATE, Options(driven="left", frequency=1000.0))


READINGS: dict[str, tuple[Callable[[PracticeMachine], Measured], str, str, str]] = {
    "replay level, left": (section("level-315", 1.5, level), "level", "left", ""),
    "replay level, right": (section("level-315", 1.5, level), "level", "right", ""),
    "replay 10 kHz, left": (section("response-10k", 1.5, level), "level", "left", ""),
    "replay 10 kHz, right": (section("response-10k", 1.5, level), "level", "right", ""),
    "replay delay": (section("azimuth-3k15", 2.0, azimuth), "azimuth_delay", "left-right", ""),
    "speed": (section("speed-3150", 4.0, speed, nominal=3150.0), "speed_error", "left", ""),
    "speed drift": (section("speed-3150", 8.0, speed, nominal=3150.0), "speed_drift", "left", ""),
    "flutter": (
        section("speed-3150", 8.0, flutter, nominal=3150.0),
        "wow_and_flutter",
        "left",
        "IEC 60386 weighted quasi-peak",
    ),
    "recorded level, left": (made(400.0, 0.0, level), "level", "left", ""),
    "recorded level, right": (made(400.0, 0.0, level), "level", "right", ""),
    "recorded 10 kHz, left": (made(10000.0, -20.0, level), "level", "left", ""),
    "recorded 10 kHz, right": (made(10000.0, -20.0, level), "level", "right", ""),
    "recorded delay": (made(3150.0, -20.0, azimuth), "azimuth_delay", "left-right", ""),
    "third harmonic": (made(400.0, 0.0, distortion, fundamental=400.0), "third_harmonic", "left", "of the fundamental"),
    "second harmonic": (
        made(400.0, 0.0, distortion, fundamental=400.0),
        "second_harmonic",
        "left",
        "of the fundamental",
    ),
    "noise": (silence(noise), "noise", "left", "A-weighted"),
    "hum": (silence(hum), "hum", "left", "total"),
    "residue": (erased, "level", "left", ""),
    "separation": (driven_left, "separation", "left-right", ""),
    "sent left only, left": (one_side, "level", "left", ""),
    "sent left only, right": (one_side, "level", "right", ""),
}

Moves = dict[str, tuple[float, float]]

TABLE: dict[str, Moves] = {
    # Wallace: 54.575·d/λ; d = 1.2 and 0.8 µm, λ = 4.7625 µm at 10 kHz.
    "dirty-head": {
        "replay 10 kHz, left": (-13.9, -13.6),
        "replay 10 kHz, right": (-9.3, -9.0),
        "replay level, left": (-0.6, -0.3),
        "replay delay": (-0.5, 0.5),
    },
    "dirty-one-side": {"replay 10 kHz, left": (-17.4, -17.0), "replay 10 kHz, right": (-0.1, 0.1)},
    # About 44 dB per wavelength on recording (from memory).
    "dirty-record-head": {
        "recorded 10 kHz, left": (-11.3, -10.4),
        "recorded 10 kHz, right": (-9.5, -8.6),
        "replay 10 kHz, left": (-0.1, 0.1),
    },
    "dirty-erase-head": {"residue": (25.0, 40.0), "recorded level, left": (-0.1, 0.1)},
    "weak-erasure": {"residue": (30.0, 46.0), "recorded level, left": (-0.1, 0.1)},
    "magnetised-head": {
        "noise": (2.0, 7.0),
        "second harmonic": (0.5, 3.0),
        "replay 10 kHz, left": (-1.5, -0.1),
        "replay level, left": (-0.2, 0.1),
    },
    # Eargle's 1.11: sinc of a 2.4 µm gap over that of the 0.9 µm that is made good: -5.05 + 0.64 dB at 10 kHz.
    "worn-gap": {
        "replay 10 kHz, left": (-4.6, -4.2),
        "replay 10 kHz, right": (-4.6, -4.2),
        "replay delay": (-0.5, 0.5),
    },
    # 14 minutes of arc: 14 x 5.497 = 76.96 µs, less 0.57 by crosstalk of -45 dB (each channel's phase at 3150 Hz is
    # drawn 0.0056·sin 1.52 towards the other's); sinc of 0.6 mm at 10 kHz: -4.15 dB.
    "azimuth-off": {
        "replay delay": (76.29, 76.49),
        "replay 10 kHz, left": (-4.4, -3.9),
        "replay 10 kHz, right": (-4.4, -3.9),
        "replay level, left": (-0.1, 0.1),
    },
    "record-azimuth-off": {
        "recorded delay": (-76.6, -76.2),
        "recorded 10 kHz, left": (-4.5, -3.8),
        "replay delay": (-0.5, 0.5),
        "replay 10 kHz, left": (-0.1, 0.1),
    },
    # 0.35 of 0.6 mm are lost: -7.6 dB; the left hears 0.05 mm of the other track, in phase: -6.0 dB.
    "height-off": {
        "replay level, left": (-6.2, -5.8),
        "replay level, right": (-7.8, -7.4),
        "replay 10 kHz, right": (-7.9, -7.3),
        "separation": (-12.0, 1.0),
    },
    "replay-level-off": {
        "replay level, left": (-6.1, -5.9),
        "replay 10 kHz, left": (-6.1, -5.9),
        "recorded level, left": (-6.1, -5.9),
        "replay level, right": (-0.1, 0.1),
    },
    # A shelf of -3 dB: at 10 kHz IEC 60094-1's 120 against 85 µs gives -2.93, at 315 Hz -0.12.
    "replay-equalisation-off": {
        "replay 10 kHz, right": (-3.0, -2.8),
        "replay level, right": (-0.2, -0.05),
        "replay 10 kHz, left": (-0.1, 0.1),
    },
    # IEC 60094-1: 70 on 120 µs: -4.54 dB at 10 kHz, -0.16 at 315 Hz.
    "wrong-equalisation": {
        "replay 10 kHz, left": (-4.6, -4.4),
        "replay 10 kHz, right": (-4.6, -4.4),
        "replay level, left": (-0.25, -0.05),
        "recorded 10 kHz, left": (-4.7, -4.3),
    },
    # Common practice, no source, from here on where no formula is named.
    "bias-high": {
        "recorded 10 kHz, left": (-8.0, -4.0),
        "recorded 10 kHz, right": (-8.0, -4.0),
        "recorded level, left": (-1.5, 0.0),
        "replay 10 kHz, left": (-0.1, 0.1),
    },
    "bias-low": {
        "recorded 10 kHz, left": (0.8, 5.0),
        "recorded level, left": (-3.0, 0.0),
        "third harmonic": (0.3, 5.0),
        "replay 10 kHz, left": (-0.1, 0.1),
    },
    "record-level-off": {
        "recorded level, left": (-4.1, -3.6),
        "recorded level, right": (-4.1, -3.6),
        "recorded 10 kHz, left": (-4.1, -3.6),
        "replay level, left": (-0.1, 0.1),
    },
    "record-equalisation-off": {
        "recorded 10 kHz, left": (-3.0, -2.0),
        "recorded level, left": (-0.1, 0.1),
        "replay 10 kHz, left": (-0.1, 0.1),
    },
    "other-tape-type": {
        "recorded 10 kHz, left": (-13.0, -5.0),
        "recorded level, left": (0.1, 1.0),
        "replay 10 kHz, left": (-0.1, 0.1),
    },
    "worn-pinch-roller": {"flutter": (0.2, 0.35), "replay level, left": (-0.1, 0.1)},
    "slipping-belt": {"speed drift": (0.1, 1.5), "flutter": (0.05, 0.5)},
    "fast-motor": {"speed": (1.99, 2.01), "replay level, left": (-0.1, 0.1)},
    "broken-screen": {"hum": (28.0, 40.0), "replay level, left": (-0.2, 0.2)},
    "swapped-channels": {"sent left only, left": (-60.0, -30.0), "sent left only, right": (30.0, 60.0)},
}
"""Change of each reading, lowest and highest, in its unit; one around 0 is a reading that must stay."""

OF_THEIR_OWN = {"dead-channel", "inverted-channel"}

_right: dict[str, Reading] = {}


def taken(machine: PracticeMachine, name: str) -> Reading:
    measure, quantity, channel, method = READINGS[name]
    return only(measure(machine), quantity, channel, method)


def right(name: str) -> Reading:
    """The reading on a machine without faults."""
    if name not in _right:
        _right[name] = taken(shipped(MACHINE)[0], name)
    return _right[name]


def check(fault: str, name: str) -> bool:
    """Check a row of the table; whether the reading moved beyond its uncertainty."""
    low, high = TABLE[fault][name]
    before, after = right(name), taken(shipped(MACHINE, fault)[0], name)
    assert before.value is not None, before.reason
    assert after.value is not None, after.reason
    change = after.value - before.value
    if name == "speed drift":
        change = abs(change)
    assert low <= change <= high, f"{name}: {before.value:.3f} became {after.value:.3f}"
    return abs(change) > (before.uncertainty or 0.0) + (after.uncertainty or 0.0)


def test_no_fault_is_left_out() -> None:
    assert set(TABLE) | OF_THEIR_OWN == {p.stem for p in (SHEETS / "faults").glob("*.toml")}


@pytest.mark.long
@pytest.mark.parametrize("fault", TABLE)
def test_a_fault_moves_its_readings(fault: str) -> None:
    moved = [check(fault, name) for name in TABLE[fault]]
    assert any(moved)


@pytest.mark.parametrize(
    ("fault", "name"),
    [
        ("dirty-head", "replay 10 kHz, left"),
        ("azimuth-off", "replay delay"),
        ("bias-high", "recorded 10 kHz, left"),
        ("record-level-off", "recorded level, left"),
        ("fast-motor", "speed"),
        ("broken-screen", "hum"),
    ],
)
def test_the_first_reading_of_some(fault: str, name: str) -> None:
    assert check(fault, name)


def test_a_dead_channel_gives_no_level() -> None:
    machine = shipped(MACHINE, "dead-channel")[0]
    measured = level(play(machine, "level-315", 1.5), RATE, Options(frequency=315.0))
    assert only(measured, "level", "left").value == pytest.approx(-12.0, abs=0.1)
    dead = only(measured, "level", "right")
    assert dead.value is None or dead.value < -60


def test_an_inverted_channel_is_told_from_a_delay() -> None:
    machine = shipped(MACHINE, "inverted-channel")[0]
    sounds = np.concatenate([play(machine, f"azimuth-{hz}", 1.5) for hz in ("1k", "3k15", "6k3")])
    measured = azimuth(sounds, RATE, Options())
    assert any("invert" in w or "polarity" in w for w in measured.warnings), measured.warnings


def test_what_is_mended_is_gone() -> None:
    for fault, name in (("dirty-head", "replay 10 kHz, left"), ("dirty-record-head", "recorded 10 kHz, left")):
        machine = shipped(MACHINE, fault)[0]
        machine.clean()
        assert taken(machine, name).value == pytest.approx(right(name).value, abs=0.1)
    machine = shipped(MACHINE, "magnetised-head")[0]
    machine.demagnetise()
    assert taken(machine, "noise").value == pytest.approx(right("noise").value, abs=0.3)


def test_the_worn_roller_is_found_by_its_rate() -> None:
    # 13 mm at 47.625 mm/s: v/(π d) = 1.166 turns a second.
    machine = shipped(MACHINE, "worn-pinch-roller")[0]
    found = flutter(play(machine, "speed-3150", 12.0), RATE, Options(nominal=3150.0))
    parts = [r for r in found.readings if r.quantity == "flutter_component" and r.channel == "left" and r.value]
    largest = max(parts, key=lambda r: r.value or 0.0)
    assert largest.frequency_hz == pytest.approx(1.166, abs=0.01)
    assert largest.value == pytest.approx(0.4, abs=0.02)
