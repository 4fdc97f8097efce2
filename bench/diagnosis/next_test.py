"""Chooses the test that gives the most information per minute about what has to be repaired.

A test is a set of readings that have not been taken yet, or an inspection by eye. The model predicts what each likely
set of causes would read; random draws from each give the expected reduction of entropy.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from bench.arrays import Floats
from bench.diagnosis.causes.cause import Cause
from bench.diagnosis.machine import Machine
from bench.diagnosis.options import STRANGE, cleared
from bench.diagnosis.prediction import predict
from bench.diagnosis.readings.finding import MAGNETISED, STAGES, Finding, Source, Stage
from bench.diagnosis.readings.looks import detection_rates
from bench.diagnosis.rows import DataRow, Rows, data_row
from bench.diagnosis.weighing import TEMPER, Weighed, Weighing

DRAWS = 16
MOST_SETS = 24
SHAPES = 2
"""Number of random shapes that are tried for a curve of which there is no reading yet."""
LEAST_LIKELY = 0.002
"""No draws are made from less likely sets."""
SETTLED_BITS = 0.35
"""With less entropy than this, the repair comes before any further test."""
LEAST_BITS = 0.02
HANDLING = 1.0
"""Minutes added to the time of each test, so that a quick glance that shows little is not preferred."""


NEEDED: dict[Source, str] = {
    "reference-tape": "the reference tape",
    "record-replay": "the tape in use",
    "encoder": "the tape in use, noise reduction in at recording only",
    "decoder": "the tape in use, noise reduction in at replay only",
}
"""What a test needs, by its source."""

Possible = Callable[["NextTest"], bool]


@dataclass(frozen=True, slots=True)
class NextTest:
    """What to do next: a test, or a repair."""

    step: str
    minutes: float
    parts: tuple[str, ...]
    """The causes that it distinguishes."""
    bits: float
    quantities: tuple[tuple[Source, str], ...] = ()
    """What it measures; nothing for an inspection by eye."""
    looks_for: str = ""
    """The cause that an inspection by eye confirms or excludes."""
    remedy: str = ""
    """The repair, if no test is needed before it."""

    @property
    def reference_passes(self) -> int:
        """Number of passes of the reference tape that it costs."""
        return int(any(source == "reference-tape" for source, _ in self.quantities))

    @property
    def needs(self) -> tuple[str, ...]:
        """What it needs."""
        return tuple(dict.fromkeys(NEEDED[source] for source, _ in self.quantities if source in NEEDED))

    def as_json(self) -> dict[str, object]:
        """The test as a JSON object, including what it measures."""
        out: dict[str, object] = {"step": self.step, "minutes": self.minutes, "parts": list(self.parts)}
        measures = [{"source": source, "quantity": quantity} for source, quantity in self.quantities]
        return out | {
            "information_bits": round(self.bits, 3),
            **({"answer": {self.looks_for: ["seen", "not seen"]}} if self.looks_for else {}),
            "measures": measures,
            "needs": list(self.needs),
            "reference_passes": self.reference_passes,
        }


def mend_first(remedy: str) -> NextTest:
    """The next step if the repair is settled."""
    return NextTest(f"nothing more to learn: {remedy} first", 0.0, (), 0.0, remedy=remedy)


@dataclass(frozen=True, slots=True)
class Measurement:
    """A test by measurement."""

    step: str
    minutes: float
    source: Source
    quantities: tuple[str, ...]
    hz: tuple[float | None, ...] = (None,)
    channels: tuple[str, ...] = ("left", "right")
    heads: tuple[int, ...] = (2, 3)
    cassette_only: bool = False


LOW, MIDDLE, HIGH = (40.0, 63.0, 125.0), (250.0, 1000.0, 2000.0, 4000.0), (6300.0, 8000.0, 10000.0, 12500.0)
MEASUREMENTS = (
    Measurement("play the reference tape: level", 2.0, "reference-tape", ("level",)),
    Measurement("play the reference tape: response", 6.0, "reference-tape", ("response",), (*LOW, *MIDDLE, *HIGH)),
    Measurement(
        "play the reference tape: azimuth",
        1.5,
        "reference-tape",
        ("azimuth_delay",),
        (1e3, 3150.0, 1e4),
        ("left-right",),
    ),
    Measurement("record and replay: level", 0.7, "record-replay", ("record_replay_level",)),
    Measurement("record and replay: response", 2.0, "record-replay", ("response",), (*LOW, *MIDDLE, *HIGH)),
    Measurement(
        "record and replay three tones: azimuth",
        0.7,
        "record-replay",
        ("azimuth_delay",),
        (1e3, 1e4),
        ("left-right",),
        (3,),
    ),
    Measurement("noise of recorded silence", 0.5, "record-replay", ("signal_to_noise",)),
    Measurement("stop the tape: noise", 0.4, "tape-stopped", ("noise",)),
    Measurement("hum, line by line", 0.5, "record-replay", ("hum",), (50.0, 100.0)),
    Measurement("second harmonic", 0.5, "record-replay", ("second_harmonic",), (400.0,)),
    Measurement("third harmonic", 0.5, "record-replay", ("third_harmonic",), (400.0,)),
    Measurement("compression of a loud tone", 0.5, "record-replay", ("compression",), (400.0,)),
    Measurement("the source at the output", 0.3, "record-replay", ("source_level",), (400.0,)),
    Measurement("maximum output level", 1.0, "record-replay", ("maximum_output_level",), (315.0,)),
    Measurement("erasure", 3.0, "record-replay", ("erasure",), (1e3,)),
    Measurement("separation, both ways", 1.0, "record-replay", ("separation",), (1e3,)),
    Measurement("dropouts of a tone", 1.0, "record-replay", ("dropout_rate",), (3150.0,)),
    Measurement("flutter and its lines", 1.0, "reference-tape", ("wow_and_flutter",), (3150.0,)),
    Measurement("speed and its drift", 1.0, "reference-tape", ("speed_error", "speed_drift"), (3150.0,), ("both",)),
    Measurement("azimuth weave", 0.5, "reference-tape", ("azimuth_weave",), (1e4,), ("left-right",)),
    Measurement(
        "encoder: record in, replay out", 2.0, "encoder", ("encoding_error",), (1e3, 3e3, 5e3, 1e4), cassette_only=True
    ),
    Measurement(
        "decoder: record out, replay in", 2.0, "decoder", ("decoding_error",), (1e3, 3e3, 5e3, 1e4), cassette_only=True
    ),
)
UNITS = {
    "azimuth_delay": "µs",
    "azimuth_weave": "µs",
    "second_harmonic": "%",
    "third_harmonic": "%",
    "speed_error": "%",
}


def next_test(
    weighing: Weighing, causes: Sequence[Cause], machine: Machine, possible: Possible | None = None
) -> NextTest | None:
    """The best test.

    Args:
        weighing: the weighed sets of causes.
        causes: the causes that an inspection by eye may be for.
        machine: the machine.
        possible: tells whether a test can be made here; None if all can.

    Returns:
        The test; a repair, with no minutes and no bits, if that is settled; None if no test helps.
    """
    candidates = _Candidates(weighing)
    if float(candidates.entropy()) < SETTLED_BITS and not candidates.leads_nowhere():
        remedy = candidates.remedies[int(np.argmax(candidates.by_remedy()))]
        return mend_first(remedy)
    best: tuple[float, NextTest] | None = None
    for test in (*_measurements(weighing, candidates, machine), *_inspections(candidates, causes)):
        rate = test.bits / (test.minutes + HANDLING)
        if test.bits > LEAST_BITS and (possible is None or possible(test)) and (best is None or rate > best[0]):
            best = (rate, test)
    return best[1] if best else None


def doubt_bits(weighing: Weighing) -> float:
    """Uncertainty about what has to be repaired, bits (entropy)."""
    return float(_Candidates(weighing).entropy())


class _Candidates:
    """The likely sets, and the repairs that each requires."""

    def __init__(self, weighing: Weighing) -> None:
        self.sets: list[Weighed] = list(weighing.sets[:MOST_SETS])
        open_ = sum(s.probability for s in weighing.unseen)
        seen = np.array([s.probability - (0.0 if s.options else open_) for s in self.sets])
        shapes = [s for s in weighing.unseen for _ in range(SHAPES if s.options[0].variant.curves else 1)]
        counts = [SHAPES if s.options[0].variant.curves else 1 for s in shapes]
        self.sets += shapes
        unseen = [s.probability / n for s, n in zip(shapes, counts, strict=True)]
        self.probability = np.concatenate([np.maximum(seen, 0.0), unseen])
        self.probability /= self.probability.sum()
        now = stage_now(weighing.fitter.rows)
        left = [[o.cause for o in s.options if not cleared(o.variant, now)] for s in self.sets]
        todo = ["; ".join(sorted({cause.mended_by for cause in causes})) for causes in left]
        self.remedies = list(dict.fromkeys(todo))
        self._remedy_of = np.array([[t == remedy for remedy in self.remedies] for t in todo], dtype=float)

    def by_remedy(self, probability: Floats | None = None) -> Floats:
        """Probability of each repair; the last axis of `probability` is that of the sets."""
        return np.asarray((self.probability if probability is None else probability) @ self._remedy_of)

    def leads_nowhere(self) -> bool:
        """Whether most likely nothing needs repair, or nobody knows what does."""
        return self.remedies[int(np.argmax(self.by_remedy()))] in ("", STRANGE.mended_by)

    def entropy(self, probability: Floats | None = None) -> Floats:
        """Entropy of the repairs, bits."""
        p = np.maximum(self.by_remedy(probability), 1e-12)
        return np.asarray(-(p * np.log2(p)).sum(axis=-1))

    def distinguished(self, means: Floats) -> tuple[str, ...]:
        """The causes that a test distinguishes: those by which the likeliest set differs from its nearest rival.

        The rival is the likely set whose readings would differ most.
        """
        apart = np.linalg.norm(means - means[0], axis=1) * np.sqrt(self.probability)
        return self.differing(int(np.argmax(apart)))

    def differing(self, other: int) -> tuple[str, ...]:
        """The causes by which a set differs from the likeliest one."""
        first, second = ({o.cause.name for o in self.sets[n].options} for n in (0, other))
        return (*sorted(first - second), *sorted(second - first))


def _inspections(candidates: _Candidates, causes: Sequence[Cause]) -> list[NextTest]:
    """Inspections by eye, each with the two answers "seen" and "not seen"."""
    out = []
    for cause in causes:
        if not cause.look:
            continue
        there = np.array([any(o.cause.name == cause.name for o in s.options) for s in candidates.sets])
        if not there.any():
            continue
        seen = np.where(there, *detection_rates(cause))
        left = 0.0
        for chance in (seen, 1 - seen):
            posterior = candidates.probability * chance
            left += float(posterior.sum() * candidates.entropy(posterior / posterior.sum()))
        other = int(np.flatnonzero(there != there[0])[0]) if there.any() and not there.all() else 0
        parts = candidates.differing(other) or (cause.name,)
        bits = float(candidates.entropy()) - left
        out.append(NextTest(cause.look, cause.look_minutes, parts, bits, looks_for=cause.name))
    return out


def _measurements(weighing: Weighing, candidates: _Candidates, machine: Machine) -> list[NextTest]:
    """Measurements that have not been made yet."""
    rows = weighing.fitter.rows
    stage = stage_now(rows)
    cleaned = stage != "before-cleaning"
    read = {
        (p.finding.source, p.finding.quantity)
        for p in rows.data_rows
        if cleaned == (p.finding.stage != "before-cleaning")
    }
    tests: list[Measurement] = []
    data_rows: list[DataRow] = []
    members: list[range] = []
    for test in MEASUREMENTS:
        wanted = [q for q in test.quantities if (test.source, q) not in read]
        new = [p for q in wanted for p in blank_rows(test, machine, stage) if p.finding.quantity == q]
        if not new or (test.source == "reference-tape" and stage in MAGNETISED):
            continue
        members.append(range(len(data_rows), len(data_rows) + len(new)))
        tests.append(test)
        data_rows += new
    if not data_rows:
        return []
    means, spreads = predict(weighing, candidates.sets, data_rows, machine)
    random = np.random.default_rng(1)
    out = []
    for test, which in zip(tests, members, strict=True):
        at = list(which)
        bits = _expected_gain(candidates, means[:, at], spreads[:, at][:, :, at], random)
        measured = tuple((test.source, q) for q in test.quantities)
        out.append(NextTest(test.step, test.minutes, candidates.distinguished(means[:, at]), bits, measured))
    return out


def stage_now(rows: Rows) -> Stage:
    """The latest stage of the readings."""
    return max((p.finding.stage for p in rows.data_rows), key=STAGES.index)


def blank_rows(test: Measurement, machine: Machine, stage: Stage = "after-cleaning") -> list[DataRow]:
    """The rows that a test would give at a stage, with a placeholder for each reading."""
    if machine.heads not in test.heads or (test.cassette_only and not machine.cassette):
        return []
    return [p for quantity in test.quantities for p in _blank_rows_of(test, quantity, machine, stage)]


def _blank_rows_of(test: Measurement, quantity: str, machine: Machine, stage: Stage) -> list[DataRow]:
    out = []
    for hz in test.hz:
        for channel in test.channels:
            unit = UNITS.get(quantity, "dB")
            method = "line at" if quantity == "hum" else "A-weighted rms" if "nois" in quantity else ""
            finding = Finding("", stage, test.source, quantity, channel, 1.0, unit, frequency_hz=hz, method=method)
            made = data_row(finding, machine)
            if isinstance(made, DataRow):
                out.append(made)
    return out


def _expected_gain(candidates: _Candidates, means: Floats, spreads: Floats, random: np.random.Generator) -> float:
    """Expected reduction of entropy, bits.

    Args:
        candidates: the sets.
        means: of the rows under each set, shape (sets, rows).
        spreads: their covariance under each set, shape (sets, rows, rows).
        random: for the draws.
    """
    halves = np.linalg.cholesky(spreads + 1e-9 * np.eye(means.shape[1]))
    whiten, size = np.linalg.inv(halves), np.log(np.diagonal(halves, axis1=1, axis2=2)).sum(axis=1)
    likely = np.flatnonzero(candidates.probability > LEAST_LIKELY)
    noise = random.standard_normal((len(likely), DRAWS, means.shape[1]))
    drawn = (means[likely, None] + noise @ halves[likely].swapaxes(1, 2)).reshape(-1, means.shape[1])
    white = (drawn - means[:, None]) @ whiten.swapaxes(1, 2)
    near = -0.5 * (white**2).sum(axis=2) - size[:, None]
    log = TEMPER * near.T + np.log(np.maximum(candidates.probability, 1e-12))
    posterior = np.exp(log - log.max(axis=1, keepdims=True))
    posterior /= posterior.sum(axis=1, keepdims=True)
    left = candidates.entropy(posterior).reshape(len(likely), DRAWS).mean(axis=1)
    weights = candidates.probability[likely]
    return max(0.0, float(candidates.entropy() - weights @ left / weights.sum()))
