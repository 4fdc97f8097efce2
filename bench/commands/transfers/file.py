"""Converts a file by decoding or encoding, and writes a text file with the figures used."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from bench.arrays import Floats
from bench.audio.capture import Capture
from bench.commands.transfers.azimuth import with_course
from bench.commands.transfers.before_after import PASSAGE_S, Passage, names_beside, passage_start
from bench.commands.transfers.listening import listen
from bench.commands.transfers.options import BY_PROGRAMME, MIDDLE, channel_names, chosen_errors, opened
from bench.commands.transfers.progress import Progress
from bench.problem import Problem

if TYPE_CHECKING:
    from bench.transfer.findings import CaptureCheck
    from bench.transfer.transfer import Transfer


HIGHEST_PEAK_DB = -0.1
"""Level of the peak where the whole file has to be turned down, dBFS."""
BITS = 24
LONG_S, SPARSE = 300.0, 4
"""Of a longer capture, the average spectra are those of one segment in so many."""


def convert(args: argparse.Namespace, *, decode: bool) -> int:
    """Write OUT and OUT.txt; returns 1 where something is wrong with the capture itself.

    Raises:
        Problem: bad input, with nothing written.
    """
    from bench.audio.write import placed, write_sound
    from bench.commands.transfers.text import Done, as_json, cautions, lines
    from bench.transfer.findings import CaptureCheck
    from bench.transfer.transfer import Transfer
    from bench.transfer.uncertainty import decoded_uncertainties

    capture = opened(args)
    channels = channel_names(args, capture)
    chosen = chosen_errors(args, channels)
    if args.azimuth_delay == BY_PROGRAMME:
        chosen = with_course(chosen, capture)
    transfer = Transfer(args.system, capture.sample_rate, args.reference_level, chosen.errors)
    text = args.out.with_name(args.out.name + ".txt")
    heard = _BeforeAndAfter(args, capture, transfer.errors.speed) if decode else None
    with contextlib.ExitStack() as files:
        beside, partial = (files.enter_context(placed(path, force=args.force)) for path in (text, args.out))
        passages = [files.enter_context(placed(path, force=args.force)) for path in heard.paths] if heard else []
        check = CaptureCheck(capture.sample_rate, channels, args.system if decode else None)
        turned_down_db = _written(partial, capture, transfer, check, heard)
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
            check.heard_hiss,
            capture.warnings,
            heard.spectra if heard else None,
            tuple(os.fsencode(path).decode("utf-8", "replace") for path in heard.paths) if heard else (),
        )
        for path, passage in zip(passages, heard.passages if heard else (), strict=False):
            write_sound(path, [passage.samples], capture.sample_rate, channels=capture.channels, bits=BITS, frames=0)
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
    if heard and args.listen:
        before, after = (passage.samples for passage in heard.passages)
        listen(before, after, capture.sample_rate, iter(sys.stdin.readline, ""))
    return 1 if done.findings else 0


def _written(
    path: Path, capture: Capture, transfer: Transfer, check: CaptureCheck, heard: _BeforeAndAfter | None
) -> float:
    """Write the whole file, and again at a lower level if it would clip. Returns how far it was turned down, dB.

    Args:
        path: the output file.
        capture: what is decoded or encoded.
        transfer: the decoder or encoder.
        check: examines the capture as it passes.
        heard: keeps passages and spectra before and after; None for encoding.

    Raises:
        Problem: the capture is empty, or the file can't be written.
    """
    from bench.audio.write import write_sound
    from bench.transfer.stages import through

    def write(gain_db: float, hears: Callable[[Floats], None]) -> float:
        stages = transfer.decoding(gain_db) if heard else transfer.encoding(gain_db)

        def blocks(progress: Progress) -> Iterator[Floats]:
            for block in progress.through(capture):
                hears(block)
                yield block

        def made(progress: Progress) -> Iterator[Floats]:
            for block in through(stages, blocks(progress)):
                if heard:
                    heard.after.feed(block)
                yield block

        frames = round(capture.frames * max(1.0, transfer.errors.speed))
        with Progress("decoding" if heard else "encoding", capture.duration_s, time.monotonic()) as progress:
            sound = made(progress)
            return write_sound(path, sound, capture.sample_rate, channels=capture.channels, bits=BITS, frames=frames)

    def first(block: Floats) -> None:
        check.feed(block)
        if heard:
            heard.before.feed(block)

    peak = write(0.0, first)
    if check.silent:
        raise Problem(f"{capture.name} is silent; look at the leads and the input, and transfer it again")
    if peak <= 1.0:
        return 0.0
    down_db = 20 * float(np.log10(peak)) - HIGHEST_PEAK_DB
    if heard:
        heard.restart()
    write(-down_db, lambda _: None)
    return down_db


class _PassageAndSpectrum:
    """Keeps a passage and the average spectrum of a stream of sound."""

    def __init__(self, rate: float, channels: int, start_s: float, every_s: float) -> None:
        from bench.transfer.spectrum import AverageSpectrum

        self.spectrum = AverageSpectrum(rate, channels, every_s)
        self.passage = Passage(round(start_s * rate), round(PASSAGE_S * rate))

    def feed(self, samples: Floats) -> None:
        """Take in the next frames."""
        self.spectrum.feed(samples)
        self.passage.feed(samples)


class _BeforeAndAfter:
    """Passages and spectra of a transfer before and after decoding."""

    def __init__(self, args: argparse.Namespace, capture: Capture, speed: float) -> None:
        wanted = args.before_after if args.before_after != MIDDLE else None
        wants = args.before_after is not None or args.listen
        self._start_s = passage_start(wanted, capture.duration_s)
        self._rate, self._channels, self._speed = capture.sample_rate, capture.channels, speed
        self.paths = names_beside(args.out) if wants else ()
        from bench.transfer.spectrum import SEGMENT_S

        self._every_s = SEGMENT_S * (SPARSE if capture.duration_s > LONG_S else 1)
        self.before = _PassageAndSpectrum(self._rate, self._channels, self._start_s, self._every_s)
        self.restart()

    def restart(self) -> None:
        """Start again, because the transfer is decoded a second time."""
        start_s, every_s = self._start_s * self._speed, self._every_s * self._speed
        self.after = _PassageAndSpectrum(self._rate, self._channels, start_s, every_s)

    @property
    def passages(self) -> tuple[Passage, Passage]:
        """The passages before and after."""
        return self.before.passage, self.after.passage

    @property
    def spectra(self) -> tuple[dict[float, float], dict[float, float]]:
        """The spectra before and after, in third octaves, dBFS."""
        return self.before.spectrum.bands(), self.after.spectrum.bands()
