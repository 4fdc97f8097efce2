"""A snapshot as lines of text: everything that the screen shows, each change once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from bench.figures import as_given, hertz, number
from bench.measure.method import beside_dbfs
from bench.procedure.state.snapshot import Curve, Gauge, InputView, Prompt, Snapshot, StepView, ToneRow
from bench.words.dates import duration
from bench.words.figures import plus_minus, rotation
from bench.words.names import CHANNELS, STAGES
from bench.words.readings import judged_text, phase_text
from bench.words.sentences import inert

GAUGE_EVERY = 20
"""Snapshots between two lines of a gauge on which only the figure changes: about a second."""

HINTS = ("think", "look", "do")


class Narrator:
    """Prints what has changed since the last snapshot; the journal prints kept readings and the outcome.

    Args:
        say: prints a line.
        trainee: whether to print why at every step.
    """

    def __init__(self, say: Callable[[str], None], *, trainee: bool = False) -> None:
        self._say = say
        self.trainee = trainee
        self._last_values: dict[str, object] = {}
        self._tones: dict[str, str] = {}
        self._hinted: dict[str, int] = {}
        self._since_gauge = 0

    def _line(self, text: str) -> None:
        self._say(inert(text))

    def _changed(self, what: str, value: object) -> bool:
        if self._last_values.get(what) == value:
            return False
        self._last_values[what] = value
        return True

    # ---------------------------------------------------------------- a snapshot

    def narrate(self, s: Snapshot) -> None:
        """Print the changes of one snapshot."""
        if self._changed("job", s.job):
            self._job(s)
        if s.step is not None and self._changed("step", (s.step.id, s.step.index)):
            self._tones.clear()
            self._last_values.pop("checks", None)
            self._card(s.step, whole=self.trainee)
            self._changed("why", s.step.why)
        elif s.step is not None and self._changed("why", s.step.why) and self.trainee:
            self._reasons(s.step)
        self._checks(s)
        for tone in s.tones:
            self._tone(tone, s)
        self._gauges(s)
        self._sound(s)
        self._remarks(s)
        if self._changed("prompt", (s.step.id if s.step else "", replace(s.prompt, left_s=None))) and s.outcome is None:
            self._prompt(s.prompt)

    def _job(self, s: Snapshot) -> None:
        job = s.job
        things = ", ".join(t for t in (job.machine, job.tape, job.reference_tape) if t)
        self._line(f"{job.procedure}: {things}; {job.speed}, {job.equalisation}, 0 dB is {job.reference_level}")

    def _card(self, step: StepView, *, whole: bool) -> None:
        self._line("")
        where = ", ".join(t for t in (STAGES[step.stage], step.direction, step.lot) if t)
        self._line(f"step {step.index} of {step.total}: {step.title} ({where})")
        for caution in step.cautions:
            self._line(f"  caution ({caution.hazard}): {caution.say}")
        for name, text in (("do", step.do), ("good", step.good)):
            if text.strip():
                self._line(f"  {name}: {text}")
        if whole:
            self._reasons(step)

    def _reasons(self, step: StepView) -> None:
        for name, text in (("if not", step.if_not), ("why", step.why)):
            if text.strip():
                self._line(f"  {name}: {text}")

    def _checks(self, s: Snapshot) -> None:
        if s.checks and self._changed("checks", s.checks):
            for n, check in enumerate(s.checks, start=1):
                self._line(f"  {n}. {'done' if check.ticked else 'to do'}: {check.text}")

    def _tone(self, tone: ToneRow, s: Snapshot) -> None:
        if tone.state in ("done", "missing") and self._tones.get(tone.id) != tone.state:
            self._tones[tone.id] = tone.state
            readings = "; ".join(f"{CHANNELS[r.channel]} {judged_text(r, v)}" for r, v in tone.readings) or "measured"
            points = [p for p in s.as_found if p.frequency_hz == tone.frequency_hz]
            as_found = "; ".join(f"{CHANNELS[p.channel]} as found {number(p.off, 2, sign=True)} off" for p in points)
            measured = readings + (f" ({as_found})" if as_found else "")
            self._line(f"  {tone.label}: {measured if tone.state == 'done' else 'not heard'}")

    def _gauges(self, s: Snapshot) -> None:
        self._since_gauge += 1
        words = tuple(g.verdict.word if g.verdict else "" for g in s.gauges)
        if s.gauges and (self._changed("gauge words", words) or self._since_gauge >= GAUGE_EVERY):
            self._since_gauge = 0
            for g in s.gauges:
                self._line(f"  {gauge_text(g)}")
        for curve in s.curves:
            if self._changed(f"curve {curve.label}", curve.points[-1:]):
                self._line(f"  {curve_text(curve)}")
        if s.trimmers and self._changed("trimmers", tuple((t.name, t.degrees) for t in s.trimmers)):
            self._line(
                "  trimmers: " + ", ".join(f"{t.name} at {number(t.degrees, 0, sign=True)}°" for t in s.trimmers)
            )

    def _sound(self, s: Snapshot) -> None:
        if self._changed("sending", s.sending):
            self._line(f"sending: {s.sending or 'nothing'}")
        problem = sound_problem(s.sound)
        if self._changed("amiss", problem) and problem:
            self._line(f"! {problem}")
        if s.head_delay_s is not None and self._changed("heads", round(s.head_delay_s, 3)):
            self._line(f"  heads are {s.head_delay_s * 1000:.0f} ms apart")

    def _remarks(self, s: Snapshot) -> None:
        """Print flutter, remarks, steps to check again, timer and notices."""
        if s.flutter and self._changed("flutter", s.flutter):
            for part in s.flutter:
                share = f"{part.percent:.3f} % peak, {part.share * 100:.0f} % of it all"
                self._line(f"  {part.part}: {number(part.rate_hz, 2)} Hz, {share}")
        if self._changed("seen", s.seen) and s.seen:
            self._line(f"  you see: {s.seen}")
        for said in (s.to_choose_by, s.to_sign):
            if said and self._changed("to decide by", said):
                for line in said:
                    self._line(f"  {line}")
        if self._changed("again", s.to_check_again) and s.to_check_again:
            self._line("! to be checked again: " + ", ".join(s.to_check_again))
        if s.timer_left_s is not None and self._changed("timer", -(-round(s.timer_left_s) // 60)):
            self._line(f"  timer: {duration(s.timer_left_s)} left")
        if not s.notice:
            self._last_values.pop("notice", None)
        elif self._changed("notice", s.notice):
            self._line(f"! {s.notice}")
        if self._changed("unsaved", s.unsaved) and s.unsaved:
            self._line(f"! {s.unsaved}")

    def _prompt(self, prompt: Prompt) -> None:
        if not prompt.text:
            return
        units = " or ".join((prompt.unit, *prompt.other_units))
        more = f" (in {units})" if units else f", {prompt.left_s} s" if prompt.left_s is not None else ""
        self._line(f"> {prompt.text}{more}")
        for n, choice in enumerate(prompt.choices, start=1):
            self._line(f"  {n}. {choice}")

    # ---------------------------------------------------------------- when asked

    def repeat_all(self, s: Snapshot) -> None:
        """Print everything again, whether or not it was printed before."""
        hinted, self._hinted = self._hinted, {}
        self._last_values.clear()
        self._tones.clear()
        self._since_gauge = GAUGE_EVERY
        self.narrate(s)
        self._hinted = hinted

    def why(self, s: Snapshot) -> None:
        """Print the reason for the step, and what to do if the result is not right."""
        if s.step is not None:
            self._reasons(s.step)

    def hint(self, s: Snapshot) -> int:
        """Print the next hint, and after the last one what to do otherwise; returns how many were printed so far."""
        step = s.step
        if step is None:
            return 0
        hints = [(HINTS[n], text) for n, text in enumerate(step.hints[:3])]
        hints += [("otherwise", step.if_not)] if step.if_not.strip() else []
        if not hints:
            self._line("  there are no hints at this step")
            return 0
        at = min(self._hinted.get(step.id, 0), len(hints) - 1)
        self._hinted[step.id] = at + 1
        self._line(f"  {hints[at][0]}: {hints[at][1]}" + ("" if at + 1 == len(hints) else " (type hint for the next)"))
        return at + 1


def sound_problem(sound: InputView) -> str:
    """What is wrong with the input; "" if nothing is."""
    if sound.port.state == "lost":
        return f"the device is lost{': ' + sound.port.detail if sound.port.detail else ''}"
    if sound.port.state == "stalled":
        return "no sound comes from the device"
    if sound.clipping:
        return "the input clips: turn the interface's input down"
    if sound.port.state == "ended":
        return "the file is over"
    if sound.port.state == "running" and sound.silent:
        return "silence"
    if sound.only:
        return f"sound on the {sound.only} channel only"
    if sound.hum is not None:
        hum = sound.hum
        below = f"{number(hum.below_db, 0)} dB under all that comes in"
        return f"{hertz(hum.mains_hz)} mains hum at {number(hum.dbfs, 0)} dBFS, {below}"
    return ""


def gauge_text(g: Gauge) -> str:
    """A gauge in one line: reading, target, verdict, trend, direction, how far to turn."""
    readings_text = judged_text(g.reading, g.verdict)
    turns = g.turn is not None and abs(g.turn) >= 0.5
    parts = [readings_text, g.trend or "no trend yet", *([g.direction] if g.direction else [] if turns else ["wait"])]
    if g.turn is not None and turns:
        parts.append(f"turn {rotation(g.turn)}")
    if g.held_s >= 0.5:
        parts.append(f"steady for {g.held_s:.0f} s")
    if g.band and g.verdict.tolerance and g.band >= 0.1 * g.verdict.tolerance:
        parts.append(f"wanders {plus_minus(g.band, g.reading.unit)} {g.reading.unit.removesuffix('FS')}")
    parts += [text for text in (phase_text(g.reading), beside_dbfs(g.reading.method)) if text]
    return f"{g.label}: {'; '.join(parts)}"


def curve_text(curve: Curve) -> str:
    """The present point of a curve, its peak, and its target."""
    unit = {"degrees": "°", "round": "", "position": ""}[curve.along]
    at, value = curve.points[-1]
    parts = [f"{curve.label}: {curve.along} {as_given(at)}{unit} reads {number(value, 2)} {curve.unit}"]
    if curve.peak is not None:
        parts.append(f"peak {number(curve.peak[1], 2)} at {as_given(curve.peak[0])}{unit}")
    if curve.aim is not None:
        parts.append(f"come to {number(curve.aim, 2)}")
    if curve.best is not None:
        parts.append(f"best: {as_given(curve.best)}")
    return ", ".join(parts)
