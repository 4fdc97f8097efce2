"""A procedure as lines of text: for a screen reader, a serial line, or a script."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TextIO

from bench.measure.names import Reading
from bench.opening import Opened
from bench.problem import Problem
from bench.procedure import commands as say
from bench.procedure.desk import Desk
from bench.procedure.snapshot import Gauge, Outcome, Prompt, Snapshot, ToneRow
from bench.procedure.targets import Verdict

HELP = (
    "enter goes on; an answer is typed; skip REASON, accept REASON, note WORDS, tick N, turn TRIMMER DEGREES, "
    "repeat, stop (all sound), leave, help"
)

GAUGE_EVERY = 20
"""Snapshots between two lines of a gauge that only moves: about a second."""


class Teller:
    """Says what has changed since the last snapshot, and nothing twice."""

    def __init__(self, line: Callable[[str], None]) -> None:
        self._line = line
        self._said: dict[str, object] = {}
        self._tones: dict[str, str] = {}
        self._since_gauge = 0

    def tell(self, s: Snapshot) -> None:
        """Tell one snapshot."""
        if s.step is not None and self._new("step", (s.step.id, s.step.index)):
            self._tones.clear()
            self._card(s)
        for tone in s.tones:
            self._tone(tone)
        self._gauges(s.gauges)
        if self._new("sending", s.sending):
            self._line(f"sending: {s.sending or 'nothing'}")
        if s.notice and self._new("notice", s.notice):
            self._line(f"! {s.notice}")
        if not s.notice:
            self._said.pop("notice", None)
        if self._new("unsaved", s.unsaved) and s.unsaved:
            self._line(f"! {s.unsaved}")
        if self._new("clipping", s.sound.clipping) and s.sound.clipping:
            self._line("! the input clips: turn the interface's input down")
        if self._new("prompt", (s.step.id if s.step else "", s.prompt)) and s.outcome is None:
            self._prompt(s.prompt)

    def _new(self, what: str, value: object) -> bool:
        if self._said.get(what) == value:
            return False
        self._said[what] = value
        return True

    def _card(self, s: Snapshot) -> None:
        step = s.step
        if step is None:
            return
        self._line("")
        self._line(f"step {step.index} of {step.total}: {step.title}")
        for caution in step.cautions:
            self._line(f"  caution ({caution.hazard}): {caution.say}")
        self._line(f"  do: {step.do}")
        if step.good:
            self._line(f"  good: {step.good}")
        for n, check in enumerate(s.checks, start=1):
            self._line(f"  {n}. {check.text}")

    def _tone(self, tone: ToneRow) -> None:
        if tone.state in ("done", "missing") and self._tones.get(tone.id) != tone.state:
            self._tones[tone.id] = tone.state
            told = "; ".join(reading_words(r, v) for r, v in tone.readings) or "measured"
            self._line(f"  {tone.label}: {told if tone.state == 'done' else 'not heard'}")

    def _gauges(self, gauges: tuple[Gauge, ...]) -> None:
        self._since_gauge += 1
        words = tuple(g.verdict.word if g.verdict else "" for g in gauges)
        if gauges and (self._new("gauge words", words) or self._since_gauge >= GAUGE_EVERY):
            self._since_gauge = 0
            for g in gauges:
                told = reading_words(g.reading, g.verdict) if g.reading is not None else "nothing yet"
                self._line(f"  {g.label}: {told}; {g.trend or 'no trend yet'}; {g.direction or 'wait'}")

    def _prompt(self, prompt: Prompt) -> None:
        if not prompt.text:
            return
        choices = f" [{', '.join(prompt.choices)}]" if prompt.choices else ""
        unit = f" (in {prompt.unit})" if prompt.unit else ""
        self._line(f"> {prompt.text}{choices}{unit}")


def reading_words(reading: Reading, verdict: Verdict | None) -> str:
    """A reading with its unit, uncertainty and verdict."""
    if reading.value is None:
        return f"no reading, because {reading.reason}"
    spread = f" ± {reading.uncertainty:.2g}" if reading.uncertainty is not None else ""
    told = f"{reading.channel} {reading.value:.2f}{spread} {reading.unit}"
    if verdict is None or verdict.target is None:
        return told
    tolerance = f" ± {verdict.tolerance:g}" if verdict.tolerance is not None else ""
    return f"{told}, target {verdict.target:.2f}{tolerance}: {verdict.word}"


def command_of(line: str, prompt: Prompt) -> say.Command:
    """What a typed line means. Raises `Problem` with what can be typed instead."""
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
        case "stop":
            return say.StopSound()
        case "leave":
            return say.Leave()
        case "help":
            raise Problem(HELP)
    if prompt.kind in ("number", "choice", "words", "reason"):
        return say.Answer(line)
    raise Problem(f'"{line}" means nothing here; {HELP}')


def run_plain(opened: Opened, typed: TextIO, line: Callable[[str], None]) -> Outcome:
    """Run to the end, or until the person leaves or the typing ends.

    Args:
        opened: a run that has not begun.
        typed: where lines are typed.
        line: says a line.
    """
    teller = Teller(line)
    over = threading.Event()

    def show(snapshot: Snapshot) -> None:
        teller.tell(snapshot)
        if snapshot.outcome is not None:
            over.set()

    desk = Desk(opened.runner, opened.port, opened.clock, show)

    def listen() -> None:
        for text in typed:
            latest = desk.latest
            try:
                desk.post(command_of(text, latest.prompt if latest is not None else Prompt("wait", "")))
            except Problem as problem:
                line(f"! {problem.sentence}")
        desk.post(say.Leave())

    line(HELP)
    desk.start()
    threading.Thread(target=listen, name="typed", daemon=True).start()
    while desk.alive and not over.wait(0.2):
        pass
    desk.stop()
    if desk.fault is not None:
        raise desk.fault
    return opened.runner.outcome()
