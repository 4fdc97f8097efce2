"""A procedure as lines of text: for a screen reader, a serial line, or a script."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TextIO

from bench.narration import Narrator
from bench.open_run import OpenRun
from bench.problem import Problem
from bench.procedure.run import commands as say
from bench.procedure.run.desk import Desk
from bench.procedure.state.snapshot import Outcome, Prompt, Snapshot
from bench.session.compare.diagnosis import OPEN_EXERCISE, WhatIsWrong, time_to_ask
from bench.words.sentences import inert

HELP = (
    "enter goes on; an answer is typed; skip REASON, accept REASON, note WORDS, tick N, turn TRIMMER DEGREES, "
    "repeat, back, hold, stop (all sound), why, hint, now (print all again), diagnose (what is wrong), test (make the "
    "suggested test; in an exercise, choose one), leave, help"
)

COUNT = 3
"""The number from which the count-down before tones starts."""


def command_of(line: str, prompt: Prompt) -> say.Command:
    """The command of a typed line. Raises `Problem` with what can be typed instead."""
    line = line.strip()
    word, _, rest = line.partition(" ")
    rest = rest.strip()
    match word.casefold():
        case "":
            return say.GoOn()
        case "skip":
            return say.Skip(rest)
        case "accept":
            return say.Accept(rest)
        case "note" if rest:
            return say.Note(rest)
        case "tick" if rest.isdecimal():
            return say.Tick(int(rest) - 1)
        case "turn" if " " in rest:
            trimmer, _, degrees = rest.rpartition(" ")
            try:
                return say.Turn(trimmer.strip(), float(degrees))
            except ValueError:
                raise Problem(f'"{degrees}" is not a number of degrees; type turn TRIMMER DEGREES') from None
        case "repeat":
            return say.Repeat()
        case "back" if not rest:
            return say.Back()
        case "hold" if not rest:
            return say.Hold()
        case "stop":
            return say.StopSound()
        case "leave":
            return say.Leave()
        case "help":
            raise Problem(HELP)
    if prompt.kind in ("number", "choice", "words", "reason"):
        return say.Answer(line)
    raise Problem(f'"{line}" means nothing here; {HELP}')


class CountDown:
    """Counts down before tones start, on a thread, so that "stop" works meanwhile."""

    def __init__(self, line: Callable[[str], None], beat_s: float) -> None:
        self._line, self._beat_s = line, beat_s
        self._stopped = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, then: Callable[[], None]) -> None:
        """Count down, then call `then`, unless it is stopped."""
        self._stopped.clear()

        def count() -> None:
            self._line("! caution: loud tones. Loudspeakers down, headphones off; stop ends it")
            for left in range(COUNT, 0, -1):
                self._line(f"  tones start in {left}")
                if self._stopped.wait(self._beat_s):
                    self._line("  not started")
                    return
            then()

        self._thread = threading.Thread(target=count, name="count-down", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop it: nothing starts."""
        self._stopped.set()
        self.wait()

    def wait(self) -> None:
        """Wait until it has ended."""
        if self._thread is not None:
            self._thread.join()
            self._thread = None


class LineCommands:
    """Handles typed lines: answers some, and turns all others into commands to the bench thread."""

    def __init__(
        self, desk: Desk, narrator: Narrator, line: Callable[[str], None], beat_s: float, wrong: WhatIsWrong | None
    ) -> None:
        self._desk, self._narrator, self._line, self._wrong = desk, narrator, line, wrong
        self._count = CountDown(line, beat_s)

    def handle(self, text: str) -> None:
        """Handle one line."""
        word = text.strip().casefold()
        latest = self._desk.latest
        first, _, named = word.partition(" ")
        if first in ("diagnose", "test"):
            self._count.wait()
            self._diagnose(named, start=first == "test")
            return
        if word in ("stop", "leave"):
            self._count.stop()
        else:
            self._count.wait()  # lines typed ahead follow the count-down
            latest = self._desk.latest
        if (
            latest is not None
            and word in ("why", "hint", "now")
            and not (latest.prompt.kind == "words" and word == "now")
        ):
            self._answer_here(word, latest)
            return
        try:
            prompt = latest.prompt if latest is not None else Prompt("wait", "")
            command = command_of(text, prompt)
        except Problem as problem:
            self._line(f"! {inert(problem.sentence)}")
            return
        if isinstance(command, say.GoOn) and prompt.kind == "go-on" and prompt.sounds:
            self._count.start(lambda: self._desk.post(command))
        else:
            self._desk.post(command)

    def _diagnose(self, named: str, *, start: bool) -> None:
        """Print what is wrong, or do the suggested test; a trainee names causes first."""
        if self._wrong is None and start:
            self._desk.post(say.RunTest())
            return
        if self._wrong is None:
            self._line(f"  {OPEN_EXERCISE}")
            return
        if self._narrator.trainee and not named:
            self._line("  what do you think is wrong? Type diagnose, and one cause or more")
            return
        try:
            lines, command = self._wrong.page()
        except Problem as problem:
            lines, command = [problem.sentence], None
        if named and not start:
            self._desk.post(say.Note(f"thought to be wrong: {named}"))
        if start and isinstance(command, say.Look):
            if named not in ("yes", "no"):
                self._line(f"  {inert(command.question)} Type test yes or test no")
                return
            command = say.Look(command.cause, seen=named == "yes")
        if start and command is not None:
            self._desk.post(command)
            return
        for text in ["no step of this job makes the suggested test"] if start else lines:
            self._line(f"  {inert(text)}")

    def _answer_here(self, word: str, latest: Snapshot) -> None:
        match word:
            case "why":
                self._narrator.why(latest)
            case "now":
                self._narrator.repeat_all(latest)
            case "hint":
                count = self._narrator.hint(latest)
                if self._narrator.trainee and count:
                    self._desk.post(say.Note(f"hints looked at: {count}"))

    def ended(self) -> None:
        """The input has ended: leave the run."""
        self._count.wait()
        self._desk.post(say.Leave())


def run_plain(
    opened: OpenRun, typed: TextIO, line: Callable[[str], None], *, trainee: bool = False, beat_s: float = 1.0
) -> Outcome:
    """Run to the end, or until the person leaves or the input ends.

    Args:
        opened: a run that has not started.
        typed: the typed lines.
        line: prints a line.
        trainee: whether to print why at every step and to note used hints; always so in an exercise.
        beat_s: length of a beat of the count-down before tones.

    Raises:
        Exception: whatever ended the bench thread.
    """
    narrator = Narrator(line, trainee=trainee or opened.exercise is not None)
    first_snapshot, over = threading.Event(), threading.Event()

    wrong = WhatIsWrong(opened.store.folder, opened.job.steps, opened.port) if opened.exercise is None else None
    shown: list[Snapshot] = []

    def show(snapshot: Snapshot) -> None:
        narrator.narrate(snapshot)
        if wrong is not None and not narrator.trainee and shown and time_to_ask(shown[-1], snapshot):
            cause = wrong.line()
            if cause:
                line(f"what is wrong: {inert(cause)} (diagnose prints the rest)")
        shown[:] = [snapshot]
        first_snapshot.set()
        if snapshot.outcome is not None:
            over.set()

    desk = opened.make_desk(show)
    commands = LineCommands(desk, narrator, line, beat_s, wrong)

    def listen() -> None:
        first_snapshot.wait()  # so that a line typed ahead answers the first step
        for text in typed:
            commands.handle(text)
        commands.ended()

    line(HELP)
    try:
        desk.start()
        threading.Thread(target=listen, name="typed", daemon=True).start()
        while desk.alive and not over.wait(0.2):
            pass
    finally:
        desk.wait(lambda sentence: line(f"! {sentence}"))
    if desk.fault is not None:
        raise desk.fault
    return opened.runner.outcome()
