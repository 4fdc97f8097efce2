"""Options of `decode` and `encode`: files, levels and errors."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from bench.audio.capture import Capture
from bench.commands.measure import channel_list
from bench.commands.tracking import decibels, typed_errors
from bench.figures import as_given
from bench.problem import Problem

if TYPE_CHECKING:
    from bench.measure.reading import Channel
    from bench.measure.stage import Stage
    from bench.session.compare.machine_errors import MachineErrors
    from bench.session.compare.transfer_errors import MeasuredTransfer
    from bench.transfer.errors import TransferErrors

STAGES: dict[str, Stage] = {"as-found": "found-clean", "as-left": "left"}
BY_PROGRAMME = "programme"
"""Instead of a figure for `--azimuth-delay`: it is read from the capture."""
MIDDLE = -1.0
"""Value of `--before-after` without a time."""
LOWEST_RATE = 32000
LEVELS_DBFS = (-60.0, 0.0)
"""Range of the reference level of noise reduction in any capture."""


@dataclass(frozen=True, slots=True)
class ChosenErrors:
    """The chosen errors, and where they come from."""

    errors: TransferErrors
    session: str = ""
    """The session that measured them; "" for typed ones."""
    stage: str = ""
    """Stage of that session, as typed."""
    of_tape: bool = False
    """Whether the session read the tape itself, and no machine."""
    replayed_on: str = ""
    """Replaying machine, as typed: "itself", a session, or "" for a machine in adjustment."""
    azimuth_known: bool = True
    speed_known: bool = True


def add_transfer(parser: argparse.ArgumentParser, *, decode: bool) -> None:
    """The options of both commands."""
    does = "taken off before decoding" if decode else "put on after encoding"
    parser.add_argument("file", type=Path, metavar="IN", help="any format libsndfile reads, 44.1 to 192 kHz")
    parser.add_argument("out", type=Path, metavar="OUT", help="the file that is written: .wav or .flac")
    parser.add_argument("--system", choices=("type-b", "type-a"), default="type-b", help="the system (type-b)")
    parser.add_argument("--reference-level", type=decibels, metavar="DBFS", help="what 0 dB of the system is in IN")
    parser.add_argument("--level-error", type=decibels, metavar="DB", help=f"at 400 Hz, {does}")
    parser.add_argument(
        "--treble-error", metavar="HZ:DB,…", help=f"relative to 400 Hz, such as 4000:-1,10000:-3, {does}"
    )
    parser.add_argument(
        "--azimuth-delay",
        type=delay_or_programme if decode else decibels,
        metavar="US|programme" if decode else "US",
        help=f"positive: right channel late; {does}"
        + (". programme: as the programme of IN shows it, along the tape" if decode else ""),
    )
    parser.add_argument("--speed-error", type=decibels, metavar="PERCENT", help=f"positive: too fast; {does}")
    if decode:
        parser.add_argument(
            "--uncertainty", type=decibels, metavar="DB", help="of a typed error at any frequency, expanded (k = 2)"
        )
        parser.add_argument(
            "--session",
            metavar="DIR",
            help="the session of the machine that recorded the tape, or in which a tape from elsewhere was read",
        )
        parser.add_argument("--stage", choices=tuple(STAGES), help="the machine as it recorded the tape (as-found)")
        parser.add_argument(
            "--before-after",
            nargs="?",
            type=float,
            const=MIDDLE,
            metavar="SECOND",
            help="write ten seconds from there (the middle) as they came and decoded, beside OUT",
        )
        parser.add_argument("--listen", action="store_true", help="and play them: enter changes from one to the other")
        parser.add_argument(
            "--replayed-on",
            metavar="SESSION",
            help="the machine that replayed it, as left; itself: the same as it was; without it, one that is right",
        )
    parser.add_argument("--channels", type=channel_list, metavar="LIST", help="which channels of IN, from 1: 1,2")
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def delay_or_programme(text: str) -> float | str:
    """A delay, µs, or `BY_PROGRAMME`."""
    if text == BY_PROGRAMME:
        return text
    try:
        return decibels(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"give a delay in µs, or the word {BY_PROGRAMME}") from None


def opened(args: argparse.Namespace) -> Capture:
    """The opened capture, after checks.

    Raises:
        Problem: it can't be read, its sample rate is too low, it would be overwritten, or no reference level is given.
    """
    from bench.audio.write import check_ending

    check_ending(args.out)
    capture = Capture(args.file, args.channels)
    if args.out.exists() and args.out.samefile(args.file):
        raise Problem(f"{args.out} is the capture itself; write to another file, for the capture can't be made again")
    if capture.sample_rate < LOWEST_RATE:
        raise Problem(
            f"{capture.name}: a sample rate of {capture.sample_rate} Hz holds too little treble for noise reduction; "
            "capture it at 44100 Hz or more"
        )
    low, high = LEVELS_DBFS
    if args.reference_level is None:
        raise Problem(
            "give --reference-level DBFS: the level in the file of a tape at the reference level of the system "
            "(Type B on cassette: 200 nWb/m at 400 Hz)"
        )
    if not low <= args.reference_level <= high:
        raise Problem(
            f"--reference-level {as_given(args.reference_level)}: the reference level of noise reduction lies from "
            f"{as_given(low)} to {as_given(high)} dBFS"
        )
    return capture


def channel_names(args: argparse.Namespace, capture: Capture) -> tuple[Channel, ...]:
    """Names of the channels: a channel chosen by its number is left or right, a single channel is mono."""
    if capture.channels == 2:
        return ("left", "right")
    chosen: dict[int, Channel] = {1: "left", 2: "right"}
    return (chosen.get(args.channels[0], "mono") if args.channels else "mono",)


def chosen_errors(args: argparse.Namespace, channels: tuple[Channel, ...]) -> ChosenErrors:
    """The errors that were typed, or that a session measured.

    Raises:
        Problem: they contradict each other, are implausible for a machine, or the session lacks what is needed.
    """
    if getattr(args, "session", None) is not None:
        return _measured(args, channels)
    from bench.tape.mistracking_map import ReplayErrors
    from bench.transfer.errors import ChannelErrors, TransferErrors

    for name in ("stage", "replayed_on"):
        if getattr(args, name, None) is not None:
            raise Problem(f"--{name.replace('_', '-')} goes with --session")
    uncertainty = getattr(args, "uncertainty", None)
    if uncertainty is not None and not 0 <= uncertainty <= 20:
        raise Problem(f"--uncertainty {uncertainty:g}: give one from 0 to 20 dB")
    typed = args.level_error is not None or args.treble_error is not None
    errors = typed_errors(args) if typed else ReplayErrors()
    spread = None if uncertainty is None else ((errors.reference_hz, uncertainty),)
    channel = ChannelErrors(errors, spread)
    return ChosenErrors(
        TransferErrors((channel,) * len(channels), _typed_delay(args) or 0.0, args.speed_error or 0.0),
    )


def _typed_delay(args: argparse.Namespace) -> float | None:
    return None if args.azimuth_delay == BY_PROGRAMME else args.azimuth_delay


def _measured(args: argparse.Namespace, channels: tuple[Channel, ...]) -> ChosenErrors:
    """A session's errors; azimuth and speed that were typed win.

    Raises:
        Problem: they contradict what was typed, or the session lacks what is needed.
    """
    from dataclasses import replace

    from bench.commands.report import session_folder
    from bench.session.compare.machine_errors import machine_errors
    from bench.session.compare.transfer_errors import of_tape
    from bench.session.record.reader import read_session

    if args.level_error is not None or args.treble_error is not None or args.uncertainty is not None:
        raise Problem("--session has its own errors; leave --level-error, --treble-error and --uncertainty out")
    folder = session_folder(args.session, args.workspace)
    session = read_session(folder)
    found, stage = of_tape(session, channels), ""
    if found is not None and (args.stage or args.replayed_on):
        raise Problem(
            f"{args.session} is of a tape as it was played, and not of a machine; leave --stage and --replayed-on out"
        )
    by_tape = found is not None
    if found is None:
        stage = args.stage or "as-found"
        every = {name: machine_errors(session, of_stage) for name, of_stage in STAGES.items()}
        recorded = every[stage]
        if not recorded.own and not recorded.replay:
            others = " or ".join(f"--stage {name}" for name, e in every.items() if e.own or e.replay)
            remedy = f"use {others}" if others else "name a session that measured record and replay"
            raise Problem(f"{args.session} read nothing of its machine {stage.replace('-', ' ')}; {remedy}")
        found = _of_machine(args, recorded, channels)
    errors = found.errors
    delay = _typed_delay(args)
    if delay is not None:
        errors = replace(errors, azimuth_delay_us=delay)
    if args.speed_error is not None:
        errors = replace(errors, speed_error_percent=args.speed_error)
    return ChosenErrors(
        errors,
        folder.resolve().name,
        stage,
        by_tape,
        args.replayed_on or "",
        azimuth_known=delay is not None or found.azimuth_uncertainty_us is not None or len(channels) < 2,
        speed_known=args.speed_error is not None or found.speed_uncertainty_percent is not None,
    )


def _of_machine(args: argparse.Namespace, recorded: MachineErrors, channels: tuple[Channel, ...]) -> MeasuredTransfer:
    """A tape of a machine, on the one that replayed it."""
    from bench.commands.report import session_folder
    from bench.session.compare.interchange import right_machine
    from bench.session.compare.machine_errors import machine_errors
    from bench.session.compare.transfer_errors import on_another, on_itself
    from bench.session.record.reader import read_session

    if args.replayed_on == "itself":
        return on_itself(recorded, channels)
    if args.replayed_on is None:
        return on_another(recorded, right_machine(recorded), channels)
    replayed = machine_errors(read_session(session_folder(args.replayed_on, args.workspace)))
    return on_another(recorded, replayed, channels)
