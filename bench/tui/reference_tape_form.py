"""Makes a reference-tape sheet from a few answers that are typed in the app.

Uncertainties are those of a typical tape, to be changed where the certificate gives others: level ±0.25 dB, response
±0.5 dB to 8 kHz and ±1 dB above, azimuth ±2 minutes of arc, speed ±0.1 % (common practice, no source).
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import get_args

from bench.problem import Problem
from bench.procedure.model.sheets import TrackFormatName
from bench.workspace import write_new

TRACKS: tuple[str, ...] = get_args(TrackFormatName)

QUESTIONS: Mapping[str, str] = {
    "name": "What is the reference tape called?",
    "serial": "Its serial number; a dash if it has none.",
    "speed": "Tape speed in cm/s: 4.76, 9.53, 19.05, 38.1 or 76.2.",
    "equalisation": "Its time constants in µs, t1 and t2, 0 for none, such as 120 3180",
    "tracks": f"Its tracks: {', '.join(TRACKS)}; a dash if you do not know.",
    "sections": (
        "Its sections in order: purpose Hz@dB seconds. Purpose and seconds hold until another is given; a correction "
        "of the certificate goes behind a slash, such as level 400@0 60, azimuth 10000@-20, response 315@-20 10, "
        "10000@-20/+0.3"
    ),
    "flux": "Flux of its level tone in nWb/m and its method, DIN or ANSI, such as 250 DIN",
    "certificate": "The name or number of its certificate; a dash if there is none.",
    "date": "Date of its certificate, such as 2026-03-02; a dash if there is none.",
}
"""The questions, in order; the flux is asked only for a tape with a level tone."""
OF_A_SET = ("speed", "equalisation", "tracks")
"""Questions that are asked once for all tapes of a set."""
LEVEL = 'purpose = "level"'
NONE = ("", "-", "–")
"""Answers that mean "none"."""
NO_LEVEL_TONE = "250 DIN"
"""Flux in the sheet of a tape without a level tone; no reading depends on it."""
SPEEDS_MM_S = (47.625, 95.25, 190.5, 381.0, 762.0)
SECTION = re.compile(
    r"(?:(level|azimuth|response|speed)\s+)?(\d+(?:\.\d+)?)\s*@\s*([+-]?\d+(?:\.\d+)?)"
    r"(?:\s*/\s*([+-]?\d+(?:\.\d+)?))?(?:\s+(\d+(?:\.\d+)?))?$"
)


_USUAL = dict.fromkeys(QUESTIONS, "-") | {
    "name": "x",
    "speed": "4.76",
    "equalisation": "120 3180",
    "sections": "level 1@0 9",
    "flux": NO_LEVEL_TONE,
}


def next_question(answers: Mapping[str, str]) -> str | None:
    """The key of the next question; None after the last."""
    needless = () if LEVEL in _sections(answers.get("sections", _USUAL["sections"])) else ("flux",)
    return next((key for key in QUESTIONS if key not in answers and key not in needless), None)


def checked(answers: Mapping[str, str]) -> None:
    """Raise `Problem` for an answer given so far that can't be read."""
    sheet_text({**_USUAL, **answers})


def sheet_text(answers: Mapping[str, str]) -> str:
    """The sheet.

    Args:
        answers: by the keys of `QUESTIONS`.

    Raises:
        Problem: an answer can't be read; the sentence shows how to type it.
    """
    sections = _sections(answers["sections"])
    flux, method = _flux(answers["flux"] if LEVEL in sections else NO_LEVEL_TONE)
    t1, t2 = _numbers(answers["equalisation"], 2, "equalisation: type two figures in µs, such as 120 3180")
    lines = [
        "format = 1",
        'sheet = "reference-tape"',
        f'name = "{_plain(answers["name"])}"',
        f"speed_mm_s = {_speed(answers['speed'])}",
        f"fluxivity_nwb_m = {flux}",
        f'fluxivity_method = "{method}"',
        f"equalisation_us = [{t1}, {t2}]",
        "uncertainty_db = 0.25",
        "speed_uncertainty_percent = 0.1",
        "azimuth_uncertainty_arcmin = 2.0",
    ]
    lines += [
        f'{key} = "{_plain(answers[key])}"' for key in ("serial", "certificate") if answers[key].strip() not in NONE
    ]
    tracks = answers["tracks"].strip().casefold()
    if tracks not in NONE:
        if tracks not in TRACKS:
            raise Problem(f"tracks: “{tracks}” is none of {', '.join(TRACKS)}; type one of them, or a dash")
        lines.append(f'track_format = "{tracks}"')
    day = answers["date"].strip()
    if day not in NONE:
        try:
            lines.append(f"certificate_date = {date.fromisoformat(day).isoformat()}")
        except ValueError:
            raise Problem(f"certificate: “{day}” is not a date; type it like 2026-03-02, or a dash") from None
    return "\n".join([*lines, *sections]) + "\n"


def write_sheet(folder: Path, answers: Mapping[str, str]) -> Path:
    """Write the sheet under a name made from that of the tape; an existing file is never overwritten.

    Raises:
        Problem: an answer can't be read, or the file can't be written.
    """
    return write_new(folder, _stem(answers["name"]), sheet_text(answers), most=100)


def write_set(folder: Path, name: str, tapes: Sequence[Path]) -> Path:
    """Write the sheet of a set of these tapes, by the same rules."""
    stems = [path.stem for path in tapes]
    lines = [
        "format = 1",
        'sheet = "reference-set"',
        f'name = "{_plain(name)}"',
        f'notes = "Played in this order: {", ".join(stems)}."',
        f"tapes = {json.dumps(stems)}",
    ]
    return write_new(folder, _stem(name), "\n".join(lines) + "\n", most=100)


def _stem(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:60] or "reference-tape"


def _plain(name: str) -> str:
    said = name.strip().replace("\\", "").replace('"', "'")
    if not said:
        raise Problem("name: type what the tape is called")
    return said


def _speed(text: str) -> float:
    cm_s = _numbers(text, 1, "speed: type the tape speed in cm/s, such as 4.76")[0]
    nearest = min(SPEEDS_MM_S, key=lambda s: abs(s - 10 * cm_s))
    if abs(nearest / (10 * cm_s or 1.0) - 1) > 0.01:
        raise Problem(f"speed: {cm_s:g} cm/s is no usual tape speed; type 4.76, 9.53, 19.05, 38.1 or 76.2")
    return nearest


def _flux(text: str) -> tuple[float, str]:
    figure, _, method = text.strip().partition(" ")
    method = method.strip().upper()
    if method not in ("DIN", "ANSI"):
        raise Problem("flux: type the figure and its method, such as 250 DIN or 200 ANSI")
    return _numbers(figure, 1, "flux: type the figure and its method, such as 250 DIN")[0], method


def _numbers(text: str, count: int, remedy: str) -> list[float]:
    try:
        found = [float(part.replace(",", ".")) for part in text.split()]
    except ValueError:
        found = []
    if len(found) != count:
        raise Problem(remedy)
    return found


def _sections(text: str) -> list[str]:
    out: list[str] = []
    purpose, seconds = "", 0.0
    taken: dict[str, int] = {}
    for part in (p.strip() for p in text.split(",") if p.strip()):
        found = SECTION.match(part)
        if found is None:
            raise Problem(f"sections: “{part}” is not purpose Hz@dB seconds, such as level 400@0 60")
        purpose, seconds = found[1] or purpose, float(found[5] or seconds)
        if not purpose or not seconds:
            raise Problem(f"sections: “{part}” needs a purpose and its seconds, such as level 400@0 60")
        hz, db = float(found[2]), float(found[3])
        name = f"{purpose}-{_hz_name(hz)}"
        taken[name] = taken.get(name, 0) + 1
        unsure = 0.25 if purpose == "level" else 0.5 if hz <= 8000 else 1.0
        out += [
            "",
            "[[section]]",
            f'id = "{name}"' if taken[name] == 1 else f'id = "{name}-{taken[name]}"',
            LEVEL if purpose == "level" else f'purpose = "{purpose}"',
            f"hz = {hz}",
            f"db = {db}",
            f"seconds = {seconds}",
            f"uncertainty_db = {unsure}",
        ]
        if found[4]:
            out.append(f"recorded_error_db = {float(found[4])}")
    if not out:
        raise Problem("sections: type at least one, such as level 400@0 60")
    return out


def _hz_name(hz: float) -> str:
    """A frequency in the name of a section: 400, 3k15, 12k5."""
    if hz < 1000:
        return f"{hz:g}".replace(".", "-")
    return f"{hz / 1000:g}".replace(".", "k") if hz % 1000 else f"{hz / 1000:g}k"
