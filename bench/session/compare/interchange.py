"""How a tape recorded on one machine plays on another, and which machine is the odd one out.

With replay error p from the reference tape and record-to-replay error own on the machine itself, a tape of A on B has
the error

    own(A) − p(A) + p(B),

in level, in response at each frequency, in azimuth (as a delay) and in speed alike: the recording error of A is its
record-to-replay error minus its replay error. Azimuth costs treble by sin x / x, which does not add, so its loss is
removed from each response first and added again for the angle between the two machines (`bench.tape.losses`). The
error of the reference tape is shared where both machines were read with the same tape; it stays in the uncertainty,
which is therefore slightly too large.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import permutations

import numpy as np

from bench.arrays import Floats
from bench.measure.reading import Channel
from bench.problem import Problem
from bench.session.compare.machine_errors import AZIMUTH, EXACT, SAME_SPACING, SPEED, ErrorKind, MachineErrors, Value
from bench.session.compare.outlier import Outlier, find_outlier
from bench.tape.geometry import angle_arcmin
from bench.tape.losses import azimuth_loss_db, crosstalk_change_db
from bench.tape.mistracking_map import FREQUENCIES_HZ, LEVELS_DB, ReplayErrors, worst_heard
from bench.tape.noise_reduction import encoded_level_db
from bench.words.figures import tape_speed

SAME_SPEED = 0.005
"""Speeds that differ by less than this fraction are the same nominal speed."""
TREBLE_HZ = 10_000.0
"""Frequency of the treble and azimuth-loss figures; else the highest tone below it that both machines have."""
DEEPEST_DB = -40.0
"""Largest azimuth loss that is given: at a null there is no figure."""
SIDES: tuple[Channel, ...] = ("left", "right", "mono")
OTHER_SIDE: dict[Channel, Channel] = {"left": "right", "right": "left"}
CROSSTALK_DB = -40.0
"""Crosstalk between the channels of a machine in good order. Sheets require 30 dB of separation, and most machines
have 35 to 45 dB. Common practice, no source. Corrections by it are as uncertain as they are large."""


@dataclass(frozen=True, slots=True)
class Mistracking:
    """The largest error of a pair that is heard through Type B in one channel."""

    channel: Channel
    worst: Value
    """Response error and mistracking together, dB; negative is duller."""
    mistracking_db: float
    """The part of it that is mistracking."""
    frequency_hz: float
    level_db: float
    """Level at which it occurs, dB re the reference level of Type B."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A tape recorded on one machine and replayed on another."""

    recorded: str
    replayed: str
    because: str = ""
    """Why nothing is known about it; "" where something is."""
    level: dict[Channel, Value] = field(default_factory=dict)
    """dB."""
    response: dict[tuple[Channel, float], Value] = field(default_factory=dict)
    """By channel and frequency, dB, including the azimuth loss."""
    treble_hz: float | None = None
    azimuth: Value | None = None
    """Delay between the channels, µs."""
    azimuth_loss: Value | None = None
    """At `treble_hz`, dB."""
    speed: Value | None = None
    """%."""
    mistracking: Mistracking | None = None
    missing: tuple[str, ...] = ()

    def treble(self, channel: Channel) -> Value | None:
        """The response at `treble_hz`."""
        return None if self.treble_hz is None else self.response.get((channel, self.treble_hz))


@dataclass(frozen=True, slots=True)
class Interchange:
    """A fleet of machines, in pairs."""

    machines: tuple[MachineErrors, ...]
    pairs: tuple[Pair, ...]
    """All ordered pairs."""
    outliers: tuple[Outlier, ...]
    """One for each group of machines that can exchange tapes."""


def interchange_of(machines: Sequence[MachineErrors]) -> Interchange:
    """All pairs of these machines, and the odd one out.

    Raises:
        Problem: fewer than two machines.
    """
    if len(machines) < 2:
        found = f"only {machines[0].machine} was found" if machines else "none was found"
        raise Problem(f"interchange takes two machines or more, and {found}; line up another, or name sessions")
    pairs = tuple(pair(a, b) for a, b in permutations(machines, 2))
    return Interchange(tuple(machines), pairs, tuple(_outliers(machines)))


def pair(a: MachineErrors, b: MachineErrors) -> Pair:
    """How a tape recorded on `a` plays on `b`."""
    unlike = differences(a, b)
    if unlike:
        return Pair(a.machine, b.machine, "; ".join(unlike))
    across = {t: _across(a, b, t) for t in {**a.own, **a.replay} if t.what != "response"}
    level = {t.channel: v for t, v in across.items() if t.what == "level" and v is not None}
    azimuth = across.get(AZIMUTH)
    found = Pair(
        a.machine, b.machine, level=level, response=_response(a, b, azimuth), azimuth=azimuth, speed=across.get(SPEED)
    )
    return _with_consequences(found, a, b)


def _with_consequences(found: Pair, a: MachineErrors, b: MachineErrors) -> Pair:
    """Add to a pair what follows from its level, response, azimuth and speed."""
    if not (found.level or found.response or found.azimuth or found.speed):
        return replace(found, because="not enough was read of either", missing=_missing(a, b))
    treble_hz = max((hz for _, hz in found.response if hz <= TREBLE_HZ), default=None)
    return replace(
        found,
        treble_hz=treble_hz,
        azimuth_loss=None if found.azimuth is None else _loss(found.azimuth, b, treble_hz or TREBLE_HZ),
        mistracking=_worst(found.level, found.response),
        missing=_missing(a, b),
    )


def _missing(a: MachineErrors, b: MachineErrors) -> tuple[str, ...]:
    return tuple(f"{m.machine}: {what}" for m in (a, b) for what in m.missing)


def with_itself(machine: MachineErrors) -> Pair:
    """How a machine plays its own tape: record to replay as read, which needs no reference tape."""
    level = {t.channel: v for t, v in machine.own.items() if t.what == "level"}
    response = {
        (t.channel, t.frequency_hz): v
        for t, v in machine.own.items()
        if t.what == "response" and t.frequency_hz is not None
    }
    own = Pair(
        machine.machine,
        machine.machine,
        level=level,
        response=response,
        azimuth=machine.own.get(AZIMUTH),
        speed=machine.own.get(SPEED),
    )
    return _with_consequences(own, machine, machine)


def right_machine(like: MachineErrors) -> MachineErrors:
    """A machine of the same format that records and replays to the standard."""
    exact = dict.fromkeys({**like.own, **like.replay}, EXACT)
    return replace(like, machine="a machine that is right", replay=exact, own=exact, missing=())


def differences(a: MachineErrors, b: MachineErrors) -> list[str]:
    """Why the machines cannot exchange tapes; empty where they can."""
    out = []
    if abs(a.speed_mm_s / b.speed_mm_s - 1) > SAME_SPEED:
        out.append(f"different tape speeds: {tape_speed(a.speed_mm_s)}, and {tape_speed(b.speed_mm_s)}")
    if abs(a.spacing_mm / b.spacing_mm - 1) > SAME_SPACING:
        out.append(f"different tracks: {a.spacing_mm:g} mm apart, and {b.spacing_mm:g} mm")
    if a.equalisation != b.equalisation:
        out.append(f"different equalisations: {a.equalisation}, and {b.equalisation}")
    return out


def _across(a: MachineErrors, b: MachineErrors, kind: ErrorKind) -> Value | None:
    own, mine, theirs = a.own.get(kind), a.replay.get(kind), b.replay.get(kind)
    if own is None or mine is None or theirs is None:
        return None
    return own - mine + theirs


def _response(a: MachineErrors, b: MachineErrors, azimuth: Value | None) -> dict[tuple[Channel, float], Value]:
    """The response of a pair at every frequency that all three readings have."""
    out: dict[tuple[Channel, float], Value] = {}
    for kind in a.own:
        hz = kind.frequency_hz
        if kind.what != "response" or hz is None or kind not in a.replay or kind not in b.replay:
            continue
        of_azimuth = _losses(a, b, hz, together=azimuth is not None)
        leak = Value(0.0, _leak_uncertainty_db(a, kind))
        out[kind.channel, hz] = a.own[kind] - a.replay[kind] + b.replay[kind] + of_azimuth + leak
    return out


def _leak_uncertainty_db(a: MachineErrors, kind: ErrorKind) -> float:
    """Uncertainty (k = 2) of a response, because crosstalk may have any phase: 20 lg(1 + x)·√2, dB.

    Args:
        a: the recording machine; the other channel may be recorded louder.
        kind: the response.
    """
    if kind.channel not in OTHER_SIDE:
        return 0.0

    def recorded_db(side: Channel) -> float:
        kinds = (replace(kind, channel=side), ErrorKind("level", side))
        return sum(a.own[k].value - a.replay[k].value for k in kinds if k in a.own and k in a.replay)

    louder_db = recorded_db(OTHER_SIDE[kind.channel]) - recorded_db(kind.channel)
    return 20 * math.sqrt(2) * math.log10(1 + 10 ** ((CROSSTALK_DB + louder_db) / 20))


def _losses(a: MachineErrors, b: MachineErrors, hz: float, *, together: bool) -> Value:
    """Correction of the three responses for azimuth loss: the loss in each removed, that of the pair added.

    Each was read with a tone in both channels, so its effect on crosstalk is removed too. Several of them
    contain the same delay, so its uncertainty counts once, by its effect on their sum.

    Args:
        a: the recording machine.
        b: the replaying machine.
        hz: frequency of the responses.
        together: whether the angle between the two is known.
    """
    delays = [e.get(AZIMUTH, EXACT) for e in (a.own, a.replay, b.replay)]

    def crosstalk(own: float, mine: float, theirs: float) -> float:
        of_own, of_mine, of_theirs = crosstalk_change_db(hz, (own, mine, theirs), CROSSTALK_DB)
        return float(of_mine - of_own - of_theirs)

    def total(own: float, mine: float, theirs: float) -> float:
        between = _loss_db(own - mine + theirs, b, hz) if together else 0.0
        losses = between - _loss_db(own, a, hz) + _loss_db(mine, a, hz) - _loss_db(theirs, b, hz)
        return losses + crosstalk(own, mine, theirs)

    found = _of_delays(total, delays)
    own, mine, theirs = (d.value for d in delays)
    return Value(found.value, math.hypot(found.uncertainty, crosstalk(own, mine, theirs)))


def _loss(azimuth: Value, machine: MachineErrors, hz: float) -> Value:
    """Loss at a frequency by an azimuth error, given as a delay: 0 dB or below."""
    size = Value(abs(azimuth.value), azimuth.uncertainty)
    return _of_delays(lambda delay: _loss_db(max(0.0, delay), machine, hz), [size])


def _of_delays(law: Callable[..., float], delays: Sequence[Value]) -> Value:
    """A function of delays; each adds to the uncertainty the larger effect of moving it by its own, either way."""
    values = [d.value for d in delays]
    here = law(*values)
    moves = []
    for n, delay in enumerate(delays):
        ends = [
            law(*values[:n], values[n] + step, *values[n + 1 :]) for step in (-delay.uncertainty, delay.uncertainty)
        ]
        moves.append(max(abs(end - here) for end in ends))
    return Value(here, math.hypot(*moves))


def _loss_db(delay_us: float, machine: MachineErrors, hz: float) -> float:
    """Loss for an exact delay, dB."""
    angle = float(angle_arcmin(abs(delay_us), machine.spacing_mm, machine.speed_mm_s))
    return max(DEEPEST_DB, float(azimuth_loss_db(hz, machine.speed_mm_s, machine.width_mm, angle)))


def _worst(level: dict[Channel, Value], response: dict[tuple[Channel, float], Value]) -> Mistracking | None:
    """The channel with the largest error through Type B."""
    found = []
    for channel in SIDES:
        if channel not in level:
            continue
        treble = {hz: v for (side, hz), v in response.items() if side == channel and hz != ReplayErrors().reference_hz}
        of_treble = max((v.uncertainty for v in treble.values()), default=0.0)
        errors = ReplayErrors(
            level[channel].value,
            tuple((hz, v.value) for hz, v in treble.items()),
            uncertainty_db=math.hypot(level[channel].uncertainty, of_treble),
            response_uncertainty_db=of_treble,
        )
        found.append(mistracking(errors, channel))
    return max(found, key=lambda m: abs(m.worst.value), default=None)


def mistracking(errors: ReplayErrors, channel: Channel) -> Mistracking:
    """The largest error over levels and frequencies that is heard through Type B, with its uncertainty from the errors.

    Same as `mistracking_map`, but the law of the decoder comes from a table made once, because a fleet has many pairs.
    """
    worst = worst_heard(errors, _mistracking(errors), _mistracking)
    return Mistracking(channel, Value(worst.db, worst.uncertainty_db), worst.mistracking_db, worst.hz, worst.level_db)


_FINE_DB = np.arange(-120.0, 60.0, 0.25)


@cache
def _encoded() -> tuple[Floats, Floats]:
    """Type B encoding of `LEVELS_DB`, and of a fine and wide grid of levels from which decoding is interpolated."""
    hz = np.array(FREQUENCIES_HZ)[None]
    return (
        encoded_level_db("type-b", hz, np.array(LEVELS_DB)[:, None]),
        encoded_level_db("type-b", hz, _FINE_DB[:, None]),
    )


def _mistracking(errors: ReplayErrors) -> Floats:
    """What is heard, shape (levels, frequencies)."""
    coarse, fine = _encoded()
    error_db = errors.at(FREQUENCIES_HZ)
    fed = coarse + error_db
    decoded = np.column_stack([np.interp(fed[:, n], fine[:, n], _FINE_DB) for n in range(len(FREQUENCIES_HZ))])
    return np.asarray(decoded - np.array(LEVELS_DB)[:, None] - error_db)


def _outliers(machines: Sequence[MachineErrors]) -> Iterable[Outlier]:
    """The odd one out of each group that can exchange tapes."""
    groups: list[list[MachineErrors]] = []
    for machine in machines:
        for group in groups:
            if not differences(group[0], machine):
                group.append(machine)
                break
        else:
            groups.append([machine])
    for group in groups:
        if len(group) > 1 or len(groups) == 1:
            yield find_outlier(group)
