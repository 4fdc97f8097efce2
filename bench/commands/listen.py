"""`tapebench listen`: writes music as the owner hears it from a machine."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bench.arrays import Floats
from bench.commands.measure import channel_list
from bench.commands.music_path import add_machine_options, chosen_path
from bench.commands.tracking import add_error_options
from bench.figures import hertz, number
from bench.problem import Problem

if TYPE_CHECKING:
    from bench.practice.music_replay import ReplayedMusic
    from bench.tape.noise_reduction import System


GAP_S = 1.0
"""Silence between passages."""
LONGEST_S = 540.0
"""Longest music that fits on a ten-minute practice tape, with room at both ends."""
SHORTEST_S = 0.5
LISTED_HZ = (1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
HIGHEST_PEAK = 0.98
SYSTEMS: dict[str, tuple[System | None, ...]] = {
    "none": (None,),
    "type-b": ("type-b",),
    "type-a": ("type-a",),
    "both": (None, "type-b"),
}
"""The systems played one after another, by `--noise-reduction`."""
Passage = tuple[str, Floats, "ReplayedMusic | None"]
"""Description, samples, and how they changed."""


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument(
        "file", nargs="?", type=Path, metavar="IN", help="music, at any rate; without it, our own piece"
    )
    parser.add_argument("out", type=Path, metavar="OUT", help="the file that is written, 48 kHz; .wav or .flac")
    add_error_options(parser)
    add_machine_options(parser)
    parser.add_argument(
        "--noise-reduction",
        choices=("none", "type-b", "type-a", "both"),
        default="none",
        help="switched in from recording to replay; both: as sent, then without, then with Type B, in one file (none)",
    )
    parser.add_argument("--channels", type=channel_list, metavar="LIST", help="which channels of IN, from 1: 1,2")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Write the file, and list its passages on stdout."""
    from bench.audio.write import write_source
    from bench.practice.filters import RATE
    from bench.practice.music_replay import replay_music
    from bench.signals.stored_samples import StoredSamples
    from bench.tape.mistracking_map import SYSTEM_NAMES

    path, what, sides_db = chosen_path(args)
    piece, of = _piece(args)
    passages: list[Passage] = [("as it was sent", piece, None)] if args.noise_reduction == "both" else []
    for system in SYSTEMS[args.noise_reduction]:
        replayed = replay_music(piece, path, system, sides_db)
        title = f"with {SYSTEM_NAMES[system]}" if system else "without noise reduction"
        passages.append((title, replayed.samples, replayed))
    gap = np.zeros((round(GAP_S * RATE), 2))
    all_samples = np.concatenate([part for _, samples, _ in passages for part in (samples, gap)][:-1])
    turned_down = min(1.0, HIGHEST_PEAK / float(np.abs(all_samples).max()))
    write_source(args.out, StoredSamples(all_samples * turned_down, of), RATE, 24, force=args.force)
    _print_result(args, passages, f"{of}, through {what}", 20 * float(np.log10(turned_down)))
    return 0


def _print_result(args: argparse.Namespace, passages: list[Passage], through: str, turned_down_db: float) -> None:
    """Print where each passage is and how it differs from the original."""
    from bench.practice.filters import RATE

    rows: list[dict[str, Any]] = []
    start_s = 0.0
    for says, samples, replayed in passages:
        row: dict[str, Any] = {"start_s": start_s, "seconds": len(samples) / RATE, "says": says}
        if replayed is not None:
            row["matched_db"] = round(replayed.matched_db, 3)
            row["change_db"] = {f"{hz:g}": round(db, 3) for hz, db in replayed.change_db.items()}
        rows.append(row)
        start_s += len(samples) / RATE + GAP_S
    duration_s = start_s - GAP_S
    if args.json:
        out = {"file": str(args.out), "sample_rate": RATE, "duration_s": duration_s, "says": through, "parts": rows}
        print(json.dumps(out, ensure_ascii=False, allow_nan=False))
        return
    for row in rows:
        change = row.get("change_db", {})
        shown = {float(hz): db for hz, db in change.items() if float(hz) in LISTED_HZ}
        changes = ", ".join(f"{number(db, 1, sign=True)} dB at {hertz(hz)}" for hz, db in shown.items())
        print(f"{row['start_s']:8.3f} s  {row['seconds']:.3f} s long: {row['says']}{': ' if changes else ''}{changes}")
    print(f"{args.out}: {through}; {duration_s:.1f} s, {RATE} Hz, 24 bits, two channels", file=sys.stderr)
    print("changes are of octave bands beside what was sent, levels matched from 200 to 800 Hz", file=sys.stderr)
    if turned_down_db < 0:
        print(f"all of it is turned down by {-turned_down_db:.1f} dB, so that nothing clips", file=sys.stderr)


def _piece(args: argparse.Namespace) -> tuple[Floats, str]:
    """The music, two channels at 48 kHz, and its description."""
    from bench.practice.filters import RATE
    from bench.practice.music_replay import resampled

    if args.file is None:
        from bench.signals.demo_music import demo_music

        if args.channels is not None:
            raise Problem("--channels chooses from a file; name IN before OUT")
        return demo_music(RATE), "a short piece of our own"
    from bench.audio.file import Capture

    capture = Capture(args.file, args.channels)
    if not SHORTEST_S <= capture.duration_s <= LONGEST_S:
        raise Problem(
            f"{capture.name} is {capture.duration_s:.1f} s long; give a passage of {SHORTEST_S:g} to {LONGEST_S:g} s"
        )
    if capture.sample_rate < 8000:
        raise Problem(f"{capture.name}: a sample rate of {capture.sample_rate} Hz holds no music; give 8000 Hz or more")
    samples = resampled(np.concatenate(list(capture.blocks())), capture.sample_rate)
    for warning in capture.warnings:
        print(f"warning: {warning}", file=sys.stderr)
    if not np.abs(samples).max() > 1e-6:
        raise Problem(f"{capture.name} is silent; give a file with music in it")
    return np.ascontiguousarray(np.broadcast_to(samples, (len(samples), 2))), capture.name
