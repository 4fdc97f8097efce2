"""`tapebench tones`: writes tones to a file, for a player that feeds the machine."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from bench.problem import Problem
from bench.signals.source import Source
from bench.signals.start_mark import StartMark
from bench.signals.tones import Gap, Multitone, Tone, ToneSequence

GAP_S = 0.5


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("out", type=Path, metavar="OUT.wav", help="the file; .wav, .flac or .aiff")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--list", metavar="TONES", help='tones as HZ@DBFS with commas between: "1000@-10,10000@-20"')
    what.add_argument("--procedure", metavar="P", help="the tones that this procedure sends, each set of them once")
    parser.add_argument("--machine", metavar="SHEET", help="machine sheet, whose send level is 0 dB of the procedure")
    parser.add_argument("--seconds", type=float, metavar="S", help="length of each tone (10, or the procedure's own)")
    parser.add_argument("--rate", type=int, default=48000, metavar="HZ", help="sample rate (48000)")
    parser.add_argument("--bits", type=int, choices=(16, 24), default=24, help="word length (24)")
    parser.add_argument("--leader", action="store_true", help="begin with a start mark, to find the tones again")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Write the file, and list its parts on stdout."""
    from bench.audio.write import write_source

    if not 8000 <= args.rate <= 768000:
        raise Problem(f"--rate {args.rate}: choose a sample rate from 8000 to 768000 Hz")
    if args.seconds is not None and not 0.0 < args.seconds <= 36000.0:
        raise Problem(f"--seconds {args.seconds:g}: a tone lasts longer than 0 s and 36000 s at most")
    if args.machine is not None and args.procedure is None:
        raise Problem("--machine goes with --procedure; the tones of a list have their levels in dBFS")
    parts = _of_list(args) if args.list is not None else _of_procedure(args)
    if args.leader:
        loudest = max(p.dbfs for p in parts if isinstance(p, Tone)) if any(isinstance(p, Tone) for p in parts) else -20
        parts = [StartMark(args.rate, loudest), *parts]
    sequence = ToneSequence([Gap(GAP_S), *parts], args.rate)
    write_source(args.out, sequence, args.rate, args.bits, force=args.force)
    _print_result(args, sequence)
    return 0


def _of_list(args: argparse.Namespace) -> list[Tone | Gap | Source]:
    parts: list[Tone | Gap | Source] = []
    for item in args.list.split(","):
        hz, _, dbfs = item.partition("@")
        try:
            tone = Tone(float(hz), float(dbfs), args.seconds or 10.0)
        except ValueError:
            raise Problem(f'--list: "{item.strip()}" is not a tone; write HZ@DBFS, such as 1000@-10') from None
        parts += [tone, Gap(GAP_S)]
    return parts


def _of_procedure(args: argparse.Namespace) -> list[Tone | Gap | Source]:
    """The tones of a procedure; each set once, although a line-up sends it both as found and as left."""
    from bench.procedure.load.library import Library
    from bench.workspace import find_workspace

    library = Library(find_workspace(args.workspace))
    job = library.load_job(args.procedure, args.machine)
    zero_db = job.machine.reference.send_dbfs
    parts: list[Tone | Gap | Source] = []
    done = set()
    for step in job.steps:
        sends = getattr(step, "sends", ())
        if not sends or (step.kind, sends) in done:
            continue
        done.add((step.kind, sends))
        if step.kind == "record-replay":
            for t in sends:
                parts += [Tone(t.hz, zero_db + t.db, args.seconds or t.seconds), Gap(GAP_S)]
        elif step.kind == "interface":
            for t in sends:
                parts += [Tone(t.hz, t.dbfs, args.seconds or 10.0), Gap(GAP_S)]
        else:
            tones = [Tone(t.hz, zero_db + t.db, args.seconds or 10.0) for t in sends]
            parts += [tones[0] if len(tones) == 1 else Multitone(tones, args.rate), Gap(GAP_S)]
    if not parts:
        raise Problem(f"{args.procedure} sends no tones, so there is nothing to write")
    return parts


def _print_result(args: argparse.Namespace, sequence: ToneSequence) -> None:
    spans = [span for span in sequence.spans if not isinstance(span.part, Gap)]
    rows = [
        {
            "start_s": span.start / args.rate,
            "seconds": (span.frames or 0) / args.rate,
            "says": span.part.description if not isinstance(span.part, Gap) else "",
        }
        for span in spans
    ]
    duration_s = (sequence.frames or 0) / args.rate
    if args.json:
        out = {"file": str(args.out), "sample_rate": args.rate, "duration_s": duration_s, "parts": rows}
        print(json.dumps(out, ensure_ascii=False))
        return
    for row in rows:
        print(f"{row['start_s']:8.3f} s  {row['seconds']:.3f} s long: {row['says']}")
    print(f"{args.out}: {duration_s:.1f} s, {args.rate} Hz, {args.bits} bits, two channels", file=sys.stderr)
