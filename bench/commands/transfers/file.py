"""What `decode` and `encode` have in common: a file through a transfer into another, with the figures beside it."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bench.audio.capture import Capture
from bench.commands.transfers.options import channel_names, chosen_errors, opened
from bench.problem import Problem

if TYPE_CHECKING:
    from bench.transfer.findings import CaptureCheck
    from bench.transfer.transfer import Transfer

HIGHEST_PEAK_DB = -0.1
"""Where the peak comes to lie when all has to be turned down."""
BITS = 24


def convert(args: argparse.Namespace, *, decode: bool) -> int:
    """Write OUT and OUT.txt; 1 where something is wrong with the capture itself.

    Raises:
        Problem: bad input, with nothing written.
    """
    from bench.audio.write import placed
    from bench.commands.transfers.text import Done, as_json, cautions, lines
    from bench.transfer.findings import CaptureCheck
    from bench.transfer.transfer import Transfer
    from bench.transfer.uncertainty import decoded_uncertainties

    capture = opened(args)
    channels = channel_names(args, capture)
    chosen = chosen_errors(args, channels)
    transfer = Transfer(args.system, capture.sample_rate, args.reference_level, chosen.errors)
    text = args.out.with_name(args.out.name + ".txt")
    with placed(text, force=args.force) as beside, placed(args.out, force=args.force) as partial:
        check = CaptureCheck(capture.sample_rate, channels, args.system if decode else None)
        turned_down_db = _written(partial, capture, transfer, check, decode=decode)
        done = Done(
            decode,
            os.fsencode(args.file).decode("utf-8", "replace"),
            os.fsencode(args.out).decode("utf-8", "replace"),
            os.fsencode(text).decode("utf-8", "replace"),
            channels,
            capture.duration_s,
            transfer,
            chosen,
            turned_down_db,
            tuple(decoded_uncertainties(args.system, c) if decode else None for c in chosen.errors.channels),
            check.findings(),
            capture.warnings,
        )
        told = [*lines(done), *(f"warning: {sentence}" for sentence in cautions(done))]
        beside.write_text("\n".join(told) + "\n", encoding="utf-8")
    if args.json:
        print(json.dumps(as_json(done), ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(lines(done)))
    if turned_down_db:
        print(f"all of it is turned down by {turned_down_db:.2f} dB, so that nothing clips", file=sys.stderr)
    for sentence in cautions(done):
        print(f"warning: {sentence}", file=sys.stderr)
    return 1 if done.findings else 0


def _written(path: Path, capture: Capture, transfer: Transfer, check: CaptureCheck, *, decode: bool) -> float:
    """Write the whole, a second time and softer where its peaks find no room; by how much it was turned down, dB.

    Raises:
        Problem: there is nothing in the capture, or it can't be written.
    """
    from bench.audio.write import write_sound
    from bench.transfer.stages import through

    def heard() -> Iterator[NDArray[np.float64]]:
        for block in capture.blocks():
            check.feed(block)
            yield block

    def write(blocks: Iterator[NDArray[np.float64]], gain_db: float) -> float:
        stages = transfer.decoding(gain_db) if decode else transfer.encoding(gain_db)
        made = through(stages, blocks)
        frames = round(capture.frames * max(1.0, transfer.errors.speed))
        return write_sound(path, made, capture.sample_rate, channels=capture.channels, bits=BITS, frames=frames)

    peak = write(heard(), 0.0)
    if check.silent:
        raise Problem(f"{capture.name} is silent; look at the leads and the input, and transfer it again")
    if peak <= 1.0:
        return 0.0
    down_db = 20 * float(np.log10(peak)) - HIGHEST_PEAK_DB
    write(capture.blocks(), -down_db)
    return down_db
