"""Readings of captures as rough as tape, each with the true value of that stretch and of the machine."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from bench.measure.meters import Options, make_meter
from bench.measure.reading import Measured, Reading, Result
from tests.measure.whole_array import find_tones
from tests.rough_tape.grades import Grade
from tests.rough_tape.interface import captured
from tests.rough_tape.machine import Pass, drawn_machine
from tests.rough_tape.noise import noise_dbfs
from tests.rough_tape.scenes import Capture, Section, Truth, flutter_truth, sequence, single

TAPE_HZ = (315.0, 1000.0, 4000.0, 8000.0, 10000.0, 12500.0)
DETECTORS = {
    "IEC 60386 weighted two-sigma": "weighted two-sigma",
    "IEC 60386 weighted quasi-peak": "weighted quasi-peak",
    "weighted rms": "weighted rms",
    "unweighted rms": "unweighted rms",
    "unweighted quasi-peak": "unweighted quasi-peak",
}
THRESHOLD_DB, SHORTEST_S = 6.0, 0.005
"""Smallest depth and length of a dropout."""


@dataclass(frozen=True)
class Sample:
    """One reading and its errors, reading minus truth; None where the truth or the reading is missing."""

    quantity: str
    own: float | None
    """Error relative to the truth of this stretch."""
    machine: float | None
    """Error relative to the machine in the long run."""
    uncertainty: float = 0.0
    own_uncertainty: float | None = None
    best: float | None = None
    """Standard deviation of the best linear estimator that knows the wander's spectrum."""
    bound: bool = False


def measured(capture: Capture, quantity: str, **options: object) -> Measured:
    meter = make_meter(quantity, capture.rate, 2, Options(**options))  # type: ignore[arg-type]
    meter.feed(capture.samples)
    return meter.finish()


def sample(
    name: str, found: Iterable[Result], own: float | None, machine: float | None, best: float | None = None
) -> Sample:
    """The first reading, compared with the truth."""
    reading = next(iter(found), None)
    if not isinstance(reading, Reading):
        return Sample(name, None, None)
    return Sample(
        name,
        None if own is None else reading.value - own,
        None if machine is None else reading.value - machine,
        reading.uncertainty,
        reading.uncertainty if reading.tone_uncertainty is None else reading.tone_uncertainty,
        best,
        bool(reading.bound),
    )


def of(told: Measured, quantity: str, channel: str, hz: float | None = None, method: str = "") -> Iterator[Result]:
    for r in told.readings:
        fits = hz is None or (r.frequency_hz is not None and abs(r.frequency_hz / hz - 1.0) < 0.05)
        if r.quantity == quantity and r.channel == channel and fits and (not method or r.method.name == method):
            yield r


def tone(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """Level, balance, azimuth of one tone."""
    hz, db = ((315.0, 0.0), (1000.0, -10.0), (10000.0, -20.0), (10000.0, -10.0))[rng.integers(4)]
    capture = single(rng, grade, hz, db, float(np.exp(rng.uniform(np.log(4.0), np.log(20.0)))), bits=_bits(rng))
    truth = capture.tones[0]
    told = measured(capture, "level", frequency=truth.hz)
    for c, side in enumerate(("left", "right")):
        levels = truth.own_dbfs[c], truth.machine_dbfs[c], truth.best_db[c]
        yield sample(f"level {truth.hz:g} Hz", of(told, "level", side), *levels)
    own, machine = (float(-np.diff(levels)[0]) for levels in (truth.own_dbfs, truth.machine_dbfs))
    yield sample("balance", of(told, "balance", "left-right"), own, machine)
    if truth.hz > 5000.0:
        lag = measured(capture, "azimuth")
        delays = _unwrapped(lag, truth)
        yield sample("delay", of(lag, "azimuth_delay", "left-right"), *delays, truth.best_delay_us)
        weaves = truth.own_weave_us, truth.machine_weave_us
        yield sample("weave", of(lag, "azimuth_weave", "left-right", truth.hz), *weaves)
    yield cut(capture)


def _unwrapped(lag: Measured, truth: Truth) -> tuple[float, float]:
    """The true delay as heard, shorter on a fast tape, without the whole periods that one tone cannot show."""
    heard = 1.0 / (1.0 + truth.own_speed_percent / 100.0)
    own, machine = heard * truth.own_delay_us, heard * truth.machine_delay_us
    reading = next(of(lag, "azimuth_delay", "left-right"), None)
    if not isinstance(reading, Reading):
        return own, machine
    period = heard * 1e6 / truth.hz / 2.0
    turns = period * round((reading.value - machine) / period)
    return own + turns, machine + turns


def cut(capture: Capture) -> Sample:
    """Number of tones of a capture that were not found as one whole tone."""
    found = find_tones(capture.samples, capture.rate)
    broken = 0
    for truth in capture.tones:
        mine = [
            t
            for t in found
            if abs(t.frequency_hz / truth.hz - 1.0) < 0.03
            and t.dbfs > max(truth.machine_dbfs) - 20.0
            and min(t.end_s, truth.end_s) - max(t.start_s, truth.start_s) > 0.1
        ]
        whole = len(mine) == 1 and mine[0].duration_s > 0.8 * (truth.end_s - truth.start_s)
        broken += not whole
    return Sample("tones cut", broken / len(capture.tones), None)


def carrier(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """Speed, drift and flutter of one tone."""
    capture = single(rng, grade, 3150.0, -10.0, rng.uniform(9.0, 20.0), bits=_bits(rng))
    truth = capture.tones[0]
    told = measured(capture, "speed", nominal=truth.hz)
    speeds = truth.own_speed_percent, truth.machine_speed_percent, truth.best_speed_percent
    yield sample("speed", of(told, "speed_error", "left"), *speeds)
    yield sample("drift", of(told, "speed_drift", "left"), truth.own_drift_percent, truth.machine_drift_percent)
    own, machine = flutter_truth(capture, rng)
    told = measured(capture, "flutter", nominal=truth.hz)
    for method, detector in DETECTORS.items():
        found = of(told, "wow_and_flutter", "left", None, method)
        yield sample(f"flutter, {detector}", found, own[detector], machine[detector])


def tape(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """A reference tape: response, and azimuth from all tones."""
    lengths = rng.uniform(3.0, 6.0)
    sections = [Section(315.0, 0.0, rng.uniform(5.0, 10.0)), *(Section(hz, -20.0, lengths) for hz in TAPE_HZ)]
    capture = sequence(rng, grade, tuple(sections), bits=_bits(rng))
    zero = next(t for t in capture.tones[1:] if t.hz == TAPE_HZ[0])
    sheet = tuple((t.hz, 0.0 if n == 0 else -20.0) for n, t in enumerate(capture.tones))
    told = measured(capture, "response", sheet=sheet, reference_frequency=TAPE_HZ[0])
    for truth in capture.tones[2:]:
        for c, side in enumerate(("left", "right")):
            yield sample(
                f"response {truth.hz / 1000.0:04.1f} kHz",
                of(told, "response", side, truth.hz),
                truth.own_dbfs[c] - zero.own_dbfs[c],
                truth.machine_dbfs[c] - zero.machine_dbfs[c],
                float(np.hypot(truth.best_db[c], zero.best_db[c])),
            )
    lag = measured(capture, "azimuth")
    yield sample("delay of all tones", of(lag, "azimuth_delay", "left-right"), None, _heard_us(capture))
    yield cut(capture)


def _heard_us(capture: Capture) -> float:
    return capture.machine.delay_us / (1.0 + capture.machine.travel.mean)


def silence(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """Noise of tape without a tone."""
    machine, rate = drawn_machine(rng, grade), float(rng.choice([44100.0, 48000.0]))
    passed = Pass(machine, rng, rng.uniform(5.0, 15.0), rate)
    capture = Capture(captured(passed.ground(), rng, _bits(rng)), rate, (), machine, passed)
    told = measured(capture, "noise")
    for method, dbfs in noise_dbfs(machine, rate).items():
        for side in ("left", "right"):
            yield sample(f"noise, {method}", of(told, "noise", side, None, method), None, dbfs)


def distorted(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """Third harmonic of a tone near reference level."""
    hz = float(rng.choice([315.0, 1000.0]))
    capture = single(rng, grade, hz, rng.uniform(-3.0, 4.0), rng.uniform(4.0, 12.0), bits=_bits(rng))
    told = measured(capture, "distortion", fundamental=hz)
    for c, side in enumerate(("left", "right")):
        over = _over_reference_db(capture, c)
        percent = 100.0 * capture.machine.third * 10.0 ** (over / 10.0)
        yield sample("third harmonic, % of it", _in_parts(of(told, "third_harmonic", side), percent), None, 100.0)


def _over_reference_db(capture: Capture, channel: int, rise_db: float = 0.0) -> float:
    """How far above reference level a tone is recorded, which determines its harmonics in the generator."""
    truth, machine = capture.tones[0], capture.machine
    wander = sum(s.rms**2 for s in machine.wanders.level_at(truth.hz)) / 17.372
    return truth.machine_dbfs[channel] - wander - machine.reference_dbfs + rise_db


def _in_parts(found: Iterable[Result], whole: float) -> Iterator[Result]:
    """Readings in percent of the truth, so that several captures can be compared."""
    for r in found:
        if isinstance(r, Reading):
            scaled = tuple(replace(c, value=100.0 * c.value / whole) for c in r.budget)
            yield replace(r, value=100.0 * r.value / whole, uncertainty=100.0 * r.uncertainty / whole, budget=scaled)


def rising(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """Maximum output level, from a tone that rises past it."""
    machine_db = 24.0
    section = Section(315.0, -10.0, 20.0, rises_db=machine_db)
    capture = sequence(rng, grade, (section,), bits=24, announced=False)
    third = capture.machine.third
    told = measured(capture, "headroom")
    for side in ("left", "right"):
        dbfs = capture.machine.reference_dbfs + 10.0 * float(np.log10(0.03 / third))
        wander = sum(s.rms**2 for s in capture.machine.wanders.level_at(315.0)) / 17.372
        yield sample("maximum output level", of(told, "maximum_output_level", side), None, dbfs + wander)


def separated(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """The tone of one channel in the other."""
    hz, apart = float(rng.choice([1000.0, 6300.0])), rng.uniform(25.0, 45.0)
    section = Section(hz, 0.0, rng.uniform(5.0, 12.0), right_db=-apart)
    capture = sequence(rng, grade, (section,), bits=24, announced=False)
    told = measured(capture, "separation", driven="left", frequency=hz)
    own, machine = (float(-np.diff(x)[0]) for x in (capture.tones[0].own_dbfs, capture.tones[0].machine_dbfs))
    yield sample("separation", of(told, "separation", "left-right"), own, machine)


def erased(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """What remains of an erased tone."""
    left_db = -rng.uniform(45.0, 65.0)
    sections = Section(1000.0, 0.0, rng.uniform(5.0, 8.0)), Section(1000.0, left_db, rng.uniform(8.0, 14.0))
    capture = sequence(rng, grade, sections, bits=24, announced=False)
    told = measured(capture, "erasure", frequency=1000.0)
    for side in ("left", "right"):
        yield sample("erasure", of(told, "erasure", side), None, -left_db)


def holed(rng: np.random.Generator, grade: Grade) -> Iterator[Sample]:
    """Dropouts: their number, compared with this stretch and with the machine in the long run; their depths."""
    capture = single(rng, grade, 10000.0, -10.0, 30.0, bits=24)
    truth = capture.tones[0]
    told = measured(capture, "dropouts", frequency=truth.hz)
    t = np.arange(truth.start_s, truth.end_s, 1e-3)
    for c, side in enumerate(("left", "right")):
        lost = sum((h.loss_db(t, c, truth.hz) for h in capture.passed.holes), np.zeros(len(t)))
        below = np.flatnonzero(np.diff(np.concatenate([[0], (lost >= THRESHOLD_DB).astype(int), [0]])))
        events = [(a, b) for a, b in zip(below[::2], below[1::2], strict=True) if (b - a) * 1e-3 >= SHORTEST_S]
        yield sample("dropout count", of(told, "dropout_count", side), float(len(events)), None)
        for a, b in events:
            depth = float(lost[a:b].max())
            near = [
                r
                for r in of(told, "dropout_depth", side)
                if isinstance(r, Reading) and r.time_s is not None and abs(r.time_s - t[a]) < 0.05
            ]
            yield sample("dropout depth", near, depth, None)


def _bits(rng: np.random.Generator) -> int:
    return int(rng.choice([16, 24]))


KINDS: dict[str, Callable[[np.random.Generator, Grade], Iterator[Sample]]] = {
    "tone": tone,
    "carrier": carrier,
    "tape": tape,
    "silence": silence,
    "distorted": distorted,
    "rising": rising,
    "separated": separated,
    "erased": erased,
    "holed": holed,
}
"""Kinds of capture, which are made in turn."""
