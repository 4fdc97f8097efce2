"""Parses method and reference of a reading from the words in sessions of schema 1 and 2."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

Facts = dict[str, Any]


def method_table(said: str) -> Facts:
    """Name and facts of a method as in schema 3; what is not understood stays in the name."""
    facts: Facts = {}
    for pattern, read in _SAID:
        found = re.search(pattern, said)
        if found:
            facts |= read(found)
            said = said[: found.start()] + said[found.end() :]
    for old, new in _NAMED.items():
        said = re.sub(old, new, said)
    return {"name": said} | facts


def reference_of(said: str) -> str | Facts:
    """What a reading is relative to: the facts of a tone from "400 Hz at -20 dB"; any other name unchanged.

    The frequency of a mean carrier, which differs each time, is left out: it would keep two sessions from comparison.
    """
    if said.startswith("mean carrier"):
        return "mean carrier"
    found = re.fullmatch(rf"{_F} Hz(?: at {_F} dB)?", said)
    return said if found is None or "−" in said else _number("hz", "db")(found)


def _only(**facts: Any) -> Callable[[re.Match[str]], Facts]:
    return lambda _: facts


def _number(*names: str) -> Callable[[re.Match[str]], Facts]:
    """A parser that makes each group a number under its name; missing groups are left out."""
    return lambda found: {
        name: float(group.replace("−", "-")) for name, group in zip(names, found.groups(), strict=True) if group
    }


def _scaled(name: str, small: str) -> Callable[[re.Match[str]], Facts]:
    """A parser for a number and its unit; divided by a thousand where the unit is the small one."""
    return lambda found: {name: float(found[1]) / (1000.0 if found[2] == small else 1.0)}


def _turning(found: re.Match[str]) -> Facts:
    out = _scaled("every_s", "ms")(found)
    out |= {"part": found[3]} if found[3] else {}
    return out | ({"per_turn": int(found[4])} if found[4] else {})


_F = r"([+−-]?[\d.]+(?:e[+-]?\d+)?)"
_END = r"(?=;|$)"
_LEVEL = "mean level of the steady tone, tracking demodulator"

_SAID: tuple[tuple[str, Callable[[re.Match[str]], Facts]], ...] = (
    (rf"; comes round every {_F} (m?s)(?:, as the (.+?)(?:, ([23]) times a turn,)? does)?{_END}", _turning),
    (r"^returned less sent, output looped to input$", _only(name=_LEVEL, difference="returned minus sent")),
    (r", relative to [^;,]+", _only()),  # in the reference already
    (r", left minus right", _only(difference="left minus right")),
    (r", replayed less sent", _only(difference="replayed minus sent")),
    (r", recorded to replayed", _only(difference="recorded to replayed")),
    (r", sheet levels taken out", _only(nominal_levels_removed=True)),
    (r", (\d+) tones, whole periods told by all of them", lambda found: {"tones": int(found[1])}),
    (r", inverted polarity taken out", _only(inverted=True)),
    (r", mean of the channels", _only(mean_of_channels=True)),
    (rf"; {_F} mm/s, {_F} mm between tracks", _number("speed_mm_s", "track_spacing_mm")),
    (rf"; nominal {_F} Hz assumed, the usual one nearest to the tone", _number("assumed_hz")),
    (rf" of {_F} s(?=, end minus start)", _number("seconds")),
    (rf"; {_F} s of tone", _number("seconds")),
    (
        rf"(?<=harmonics): ([\d, ]+) Hz{_END}",
        lambda found: {"lines_hz": [float(hz) for hz in found[1].split(", ")]},
    ),
    (r"(left|right) driven, (?=residue of)", lambda found: {"driven": found[1]}),
    (rf": worst of 0 to −50 dB, at {_F} dB", _number("worst_level_db")),
    (rf"; errors held beyond {_F} Hz", _number("held_beyond_hz")),
    (rf"(?:; |^)level sent at {_F} dB(?:, response at {_F} dB)?", _number("level_sent_db", "response_sent_db")),
    (rf" at {_F} dB(?=, beside)", _number("level_db")),
    (r" found by a ladder of (\d+) positions", lambda found: {"positions": int(found[1])}),
    (rf"(?<=voltmeter) ±{_F} %, {_F} Hz at {_F} dBFS", _number("instrument_percent", "sent_hz", "sent_dbfs")),
    (rf"(?<=counter) ±{_F} ppm, {_F} Hz sent", _number("instrument_ppm", "sent_hz")),
    (r"; of tape recorded with nothing sent", _only(nothing_sent=True)),
    (r"; recorded and replayed here, so that both add", _only(both_passes=True)),
    (r"; replay was not proved in this session", _only(replay_unproved=True)),
    (
        rf"; replay within {_F} dB of the reference tape, which is known to ±{_F} dB",
        _number("replay_within_db", "replay_known_db"),
    ),
    (
        rf"; interface {_F} dB(, half of its loop)?",
        lambda found: (
            {"interface_db": float(found[1].replace("−", "-"))} | ({"half_of_loop": True} if found[2] else {})
        ),
    ),
    (rf"; {_F} (m?V) at the interface", _scaled("interface_volts", "mV")),
    (rf"; interface's clock {_F} %", _number("interface_clock_percent")),
    (rf"; interface ±{_F} %", _number("interface_distortion_percent")),
    (
        rf"; the interface's own noise is {_F} dBFS, so that this is the most it can be",
        _number("interface_noise_dbfs"),
    ),
    (rf"; reference tape ±{_F} dB", _number("tape_db")),
    (rf"; reference tape ±{_F} %", _number("tape_percent")),
    (rf"; reference tape ±{_F}'", _number("tape_arcmin")),
    (rf", its certificate moves the target by {_F} dB", _number("certificate_db")),
)
"""Patterns that follow the name, each with the parser of its facts."""

_NAMED = {
    r"^fall of [\d.]+ k?Hz past (?:its|the) peak": "fall past the peak",
    r"^residue of (?:left|right) in": "residue of the other channel in",
    r" in less out, beside": " in minus out, beside",
    r"^level of the driven channel less that of the other$": "level of the driven channel minus that of the other",
}
"""Earlier names of methods, as patterns, and their current names."""
