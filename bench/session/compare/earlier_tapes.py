"""Tapes that a machine recorded as it was found: how they play on it as left, and the choice before anything is turned.

Replay can be kept as it is, which suits only the tapes that the owner recorded, or be set to the standard, for which
tapes from elsewhere were made. Each choice costs something, which `Choice` states.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from bench.session.compare.interchange import Pair, pair, right_machine, with_itself
from bench.session.compare.machine_errors import EXACT, MachineErrors, Value, machine_errors
from bench.session.record.record import SessionRecord

AS_FOUND = "as found, after cleaning"
AS_LEFT = "as left"
TAPE_TO_TAPE_DB = 0.3
"""Variation between tapes of one batch, expanded (k = 2): level and response were read on one tape, and the owner's
tapes are different ones. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Choice:
    """How tapes play if replay is kept as found, and if it is set to the standard.

    A correct tape from elsewhere plays as it was recorded on a machine that is set to the standard.
    """

    own_if_kept: Pair
    others_if_kept: Pair
    own_if_standard: Pair


def earlier_tapes(session: SessionRecord) -> Pair:
    """Tapes that the machine recorded as found, after cleaning, played on the machine as left.

    Raises:
        Problem: its copy of the machine sheet is missing, or an error is implausible for a machine.
    """
    return _with_reason(pair(_as_found(session), replace(machine_errors(session, "left"), machine=AS_LEFT)))


def lost_by_dirt(session: SessionRecord) -> tuple[Value, float] | None:
    """What record and replay together lost most of before the heads were cleaned: dB, and its frequency, Hz.

    None if no loss exceeds its uncertainty. A tape that was recorded then has lost at most this, because some of it was
    lost in replay.
    """
    before, after = (machine_errors(session, stage).own for stage in ("found-dirty", "found-clean"))
    lost = [(after[k] - before[k], k.frequency_hz) for k in before if k.what == "response" and k in after]
    value, hz = max(lost, key=lambda v: v[0].value, default=(EXACT, None))
    return None if hz is None or value.value <= value.uncertainty else (value, hz)


def choice(session: SessionRecord) -> Choice:
    """The choice, from what was read before anything was turned.

    Raises:
        Problem: as for `earlier_tapes`.
    """
    found = _as_found(session)
    right = right_machine(found)
    pairs = (with_itself(found), pair(right, found), pair(found, right))
    return Choice(*(_with_reason(p) for p in pairs))


def _as_found(session: SessionRecord) -> MachineErrors:
    """The machine as found, with the added uncertainty of a different tape from the one recorded on."""
    found = machine_errors(session, "found-clean")
    spread = Value(0.0, TAPE_TO_TAPE_DB)
    own = {kind: v + spread if kind.what in ("level", "response") else v for kind, v in found.own.items()}
    return replace(found, machine=AS_FOUND, own=own)


def _with_reason(found: Pair) -> Pair:
    """Add the reason where there is no figure at all, or neither level nor response."""
    if found.level or found.response:
        return found
    parts = []
    for stage in (AS_FOUND, AS_LEFT):
        lacks = sorted({m.removeprefix(f"{stage}: ") for m in found.missing if m.startswith(f"{stage}: ")})
        if stage == AS_LEFT and "record to replay" in lacks:
            lacks.remove("record to replay")  # only its replay counts
        parts += [f"{stage}, this was not read: {', '.join(lacks)}"] if lacks else []
    because = "; ".join(parts) or "level and response were not read at the same tones as found and as left"
    return replace(found, because=because)
