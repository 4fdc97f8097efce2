"""The fleet as lines of text: how each machine plays the tapes of the others, and which machine is the odd one out."""

from __future__ import annotations

from bench.figures import hertz
from bench.session.compare.interchange import SIDES, Interchange, Mistracking
from bench.session.compare.machine_errors import ErrorKind, Value
from bench.session.compare.outlier import CHANCE, Outlier
from bench.words.dates import day
from bench.words.figures import decibels, tape_speed, with_uncertainty, with_unit
from bench.words.names import CHANNELS
from bench.words.sentences import in_columns, inert, listed

_METHOD = (
    "From each machine's own record-to-replay and replay of the reference tape, as left or found; k = 2.",
    "Heard with Type B: response error and mistracking together, the worst of 0 to −50 dB up to 10 kHz, steady tones.",
)
_UNITS = {"level": "dB", "response": "dB", "azimuth": "µs", "speed": "%"}


def interchange_lines(found: Interchange) -> list[str]:
    """Machines, table of pairs, what is not known and why, and the odd one out."""
    lines = ["Machines"]
    for n, m in enumerate(found.machines, start=1):
        lines.append(f"  {n}  {m.machine}: {m.session}, {day(m.when)}, {m.heads} heads, {tape_speed(m.speed_mm_s)}")
        lines.append(f"     reference level {m.reference_level}; reference tape {m.reference_tape or 'not known'}")
        lines += [f"     not read: {listed(list(m.missing))}"] if m.missing else []
    lines += ["", "A tape recorded on one machine, replayed on another", *_table(found)]
    number = {m.machine: n for n, m in enumerate(found.machines, start=1)}
    lines += [
        f"  {number[p.recorded]} → {number[p.replayed]}: no figure, because {p.because}"
        for p in found.pairs
        if p.because
    ]
    if len({m.reference_level for m in found.machines}) > 1:
        lines.append("  Reference levels differ: level is relative to where each machine's own mark should be.")
    lines += ["", *(outlier_text(o) for o in found.outliers), "", *_METHOD]
    return [inert(line) for line in lines]


def _table(found: Interchange) -> list[str]:
    number = {m.machine: str(n) for n, m in enumerate(found.machines, start=1)}
    rows = [
        ["pair", "channel", "level, dB", "treble, dB", "at", "azimuth loss, dB", "speed, %", "heard with Type B, dB"]
    ]
    for pair in found.pairs:
        if pair.because:
            continue
        sides = [c for c in SIDES if c in pair.level or pair.treble(c) is not None] or ["left"]
        for n, side in enumerate(sides):
            first = n == 0
            rows.append(
                [
                    f"{number[pair.recorded]} → {number[pair.replayed]}" if first else "",
                    CHANNELS[side],
                    value(pair.level.get(side), "dB"),
                    value(pair.treble(side), "dB"),
                    hertz(pair.treble_hz) if pair.treble_hz else "–",
                    value(pair.azimuth_loss, "dB") if first else "",
                    value(pair.speed, "%") if first else "",
                    _mistracking(pair.mistracking, side),
                ]
            )
    return [f"  {line}" for line in in_columns(rows)] if len(rows) > 1 else []


def value(found: Value | None, unit: str) -> str:
    """A figure with its uncertainty; "–" where there is none."""
    if found is None:
        return "–"
    return with_uncertainty(found.value, unit, found.uncertainty, sign=True)


def _mistracking(found: Mistracking | None, side: str) -> str:
    if found is None or found.channel != side:
        return ""
    part = decibels(found.mistracking_db)
    where = f"{part} of it mistracking; {hertz(found.frequency_hz)}, {decibels(found.level_db)}"
    return f"{value(found.worst, 'dB')} ({where})"


def outlier_text(found: Outlier) -> str:
    """Which machine is the odd one out, by which error, and how likely it is that this is chance."""
    among = f" among {listed(list(found.machines))}" if len(found.machines) > 1 else ""
    if not found.machine or found.kind is None or found.distance is None:
        return f"Odd one out{among}: none, because {found.because}."
    far = with_unit(value(found.distance, _UNITS[found.kind.what]), _UNITS[found.kind.what])
    chance = "less than 1 in 1000" if found.chance < 0.001 else f"{found.chance:.3f}"
    return (
        f"Odd one out{among}: {found.machine}. Without it the spread falls from {found.spread:.2f} to "
        f"{found.without:.2f} of what is accepted. Its {found.half} is {far} from the others' mean in "
        f"{error_text(found.kind)}; the chance of that by the readings' uncertainty alone is {chance} (accepted below "
        f"{CHANCE:g})."
    )


def error_text(kind: ErrorKind) -> str:
    """Which error it is: "response, left, 10 kHz"."""
    hz = f", {hertz(kind.frequency_hz)}" if kind.frequency_hz else ""
    channel = "" if kind.channel in {"both", "left-right"} else f", {CHANNELS[kind.channel]}"
    return f"{kind.what}{channel}{hz}"
