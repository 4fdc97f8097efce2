"""The errors of a transfer, from the sessions that measured the machines.

The tape is replayed by a machine in adjustment, by the one that recorded it, or by another that a session measured:
this is one pair of `bench.session.compare.interchange`. A tape of a machine that nobody measured is known by its own
tones and programme, as a session read them while it was played.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bench.measure.reading import Channel, Reading
from bench.problem import Problem
from bench.procedure.state.journal import ReadingRecord
from bench.session.compare.interchange import Pair, pair, with_itself
from bench.session.compare.machine_errors import MachineErrors, Value
from bench.session.record.record import SessionRecord
from bench.tape.mistracking_map import REFERENCE_HZ, ReplayErrors
from bench.transfer.errors import ChannelErrors, TransferErrors

TYPE_THEM = "type the errors with --level-error and --treble-error, or use another session or stage"


@dataclass(frozen=True, slots=True)
class MeasuredTransfer:
    """Errors of a transfer, and what is not known about them."""

    errors: TransferErrors
    azimuth_uncertainty_us: float | None
    """Expanded (k = 2); None where azimuth was not measured, so that it is not corrected."""
    speed_uncertainty_percent: float | None
    """Expanded (k = 2); None where speed was not measured, so that it is not corrected."""


def on_another(recorded: MachineErrors, replayed: MachineErrors, channels: tuple[Channel, ...]) -> MeasuredTransfer:
    """The errors of a tape from one machine, replayed on another.

    Args:
        recorded: the machine that recorded the tape, in its state at that time.
        replayed: the machine that replayed it.
        channels: channels of the capture.

    Raises:
        Problem: the machines can't exchange tapes, or the sessions lack what is needed.
    """
    found = pair(recorded, replayed)
    if found.because:
        raise Problem(
            f"{recorded.session}: a tape of {recorded.machine} on {replayed.machine}: {found.because}; {TYPE_THEM}"
        )
    return _measured(recorded, found, channels)


def on_itself(recorded: MachineErrors, channels: tuple[Channel, ...]) -> MeasuredTransfer:
    """The errors of a tape replayed on the unchanged machine that recorded it: from record to replay.

    Args:
        recorded: the machine.
        channels: channels of the capture.

    Raises:
        Problem: the session lacks what is needed.
    """
    return _measured(recorded, with_itself(recorded), channels)


def of_tape(session: SessionRecord, channels: tuple[Channel, ...]) -> MeasuredTransfer | None:
    """A tape from elsewhere by its own tones, as it was played for its transfer.

    Each side of a cassette has an azimuth of its own, and a session does not say which side a capture is of.

    Args:
        session: in which the tape was played.
        channels: of the capture.

    Returns:
        Its errors; None where the session is of a machine and not of such a tape.

    Raises:
        Problem: no tone of known flux was read.
    """
    returned = {s.id for s in session.steps if s.returns}
    own = [r for r in session.readings if r.source == "owner's tape" and r.step not in returned]
    if not own or any(r.source == "record-replay" for r in session.readings):
        return None
    sides = {r.lot: Value(m.value, m.uncertainty) for r, m in _all(own, "azimuth_delay")}
    azimuth = next(iter(sides.values())) if len(sides) == 1 and len(channels) > 1 else None
    speeds = [Value(m.value, m.uncertainty) for _, m in _all(own, "speed_error")]
    speed = min(speeds, key=lambda s: s.uncertainty, default=None)
    errors = TransferErrors(
        tuple(_by_tones(session, own, channel) for channel in channels),
        azimuth.value if azimuth else 0.0,
        speed.value if speed else 0.0,
    )
    return MeasuredTransfer(errors, azimuth.uncertainty if azimuth else None, speed.uncertainty if speed else None)


def _all(records: Sequence[ReadingRecord], quantity: str) -> list[tuple[ReadingRecord, Reading]]:
    """The readings of a quantity, oldest first."""
    return [(r, m) for r in records if (m := r.measured) is not None and m.quantity == quantity]


def _by_tones(session: SessionRecord, records: Sequence[ReadingRecord], channel: Channel) -> ChannelErrors:
    """Level and treble of a channel, relative to what the label of the tape says.

    Raises:
        Problem: no tone was read in it.
    """
    tones = {
        m.frequency_hz: m for _, m in _all(records, "tape_level") if m.channel == channel and m.frequency_hz is not None
    }
    if not tones:
        side = "a capture of one channel" if channel == "mono" else f"the {channel} channel"
        raise Problem(
            f"{session.folder.resolve().name} read no tone of known flux in {side}, so that the level of its tape "
            f"is not known; {TYPE_THEM}"
        )
    level_hz = min(tones, key=lambda hz: abs(math.log(hz / REFERENCE_HZ)))
    level = tones[level_hz]
    treble = tuple((hz, m.value - level.value) for hz, m in sorted(tones.items()) if hz != level_hz)
    spread = tuple((hz, m.uncertainty) for hz, m in sorted(tones.items()))
    return ChannelErrors(ReplayErrors(level.value, treble, reference_hz=level_hz), spread)


def _measured(recorded: MachineErrors, found: Pair, channels: tuple[Channel, ...]) -> MeasuredTransfer:
    azimuth = found.azimuth if len(channels) > 1 else None
    errors = TransferErrors(
        tuple(_channel(recorded, found, channel) for channel in channels),
        azimuth.value if azimuth else 0.0,
        found.speed.value if found.speed else 0.0,
    )
    return MeasuredTransfer(
        errors, azimuth.uncertainty if azimuth else None, found.speed.uncertainty if found.speed else None
    )


def _channel(recorded: MachineErrors, found: Pair, channel: Channel) -> ChannelErrors:
    """Level and response of a channel.

    Raises:
        Problem: either was not read.
    """
    level = found.level.get(channel)
    response = {hz: v for (side, hz), v in found.response.items() if side == channel and hz != REFERENCE_HZ}
    if level is None or not response:
        lacks = [what for what, there in (("level", level), ("response", response)) if not there]
        why = f" ({', '.join(recorded.missing)})" if recorded.missing else ""
        side = "a capture of one channel" if channel == "mono" else f"the {channel} channel"
        raise Problem(
            f"{recorded.session} does not give the {' and '.join(lacks)} of {side} as it was then{why}; {TYPE_THEM}"
        )
    treble = tuple((hz, v.value) for hz, v in sorted(response.items()))
    spread = [(REFERENCE_HZ, level.uncertainty), *((hz, _both(level, v)) for hz, v in sorted(response.items()))]
    return ChannelErrors(ReplayErrors(level.value, treble), tuple(spread))


def _both(level: Value, response: Value) -> float:
    return math.hypot(level.uncertainty, response.uncertainty)
