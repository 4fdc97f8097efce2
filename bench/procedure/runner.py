"""The runner: steps a person, or unattended hands, through a procedure. It has no screen and no device."""

from __future__ import annotations

from bench.audio.port import Block, Port
from bench.clock import Clock
from bench.problem import Problem
from bench.procedure import commands as say
from bench.procedure.interlocks import Interlocks
from bench.procedure.job import Job
from bench.procedure.journal import Journal
from bench.procedure.kinds import activity_for
from bench.procedure.kinds.base import WAIT, Activity, Situation, View
from bench.procedure.outcome import judge_run
from bench.procedure.snapshot import InputView, JobView, Outcome, Prompt, Snapshot, StepView
from bench.procedure.sound_in import SoundIn
from bench.procedure.steps import Measuring, StepBase


class Runner:
    """A state machine: sound and commands in, snapshots out. All calls come from one thread."""

    def __init__(self, job: Job, port: Port, journal: Journal, clock: Clock) -> None:
        self._job = job
        self._journal = journal
        self._port = port
        self._situation = Situation(job, port, journal, clock)
        self._interlocks = Interlocks(self._situation)
        self._sound = SoundIn(clock)
        self._at = 0
        self._activity: Activity | None = None
        self._question: Prompt | None = None
        self._turns: dict[str, list[float]] = {}
        self._left = False
        self._port_trouble = ""
        self._cannot = ""

    # ---------------------------------------------------------------- where it stands

    @property
    def finished(self) -> bool:
        """Whether there is nothing more to do, or it was left."""
        return self._left or self._at >= len(self._job.steps)

    @property
    def wants_sound(self) -> bool:
        """Whether the step at hand listens."""
        return self._activity is not None and self._activity.wants_sound

    @property
    def _step(self) -> StepBase | None:
        return self._job.steps[self._at] if self._at < len(self._job.steps) else None

    # ---------------------------------------------------------------- going through

    def begin(self) -> None:
        """Start at the first step that is not over: the first one, or where a broken-off session stopped."""
        done = set(self._journal.steps_done())
        while self._at < len(self._job.steps) and self._job.steps[self._at].id in done:
            self._at += 1
        step = self._step
        if step is None:
            return
        resumed = bool(self._journal.events())
        self._situation.note("resume" if resumed else "start", step.id, f"at {step.title}")
        self._enter()

    def _enter(self, *, again: bool = False) -> None:
        """Come to the step at hand: first what an interlock demands, then the step."""
        step = self._step
        if step is None:
            self._situation.note("done", self._job.steps[-1].id, self.outcome().said)
            return
        if not again:
            records = [r.attempt for r in self._journal.records() if r.step == step.id]
            self._situation.attempt = 1 + max(records, default=0)
        self._question = self._interlocks.demand(step)
        if self._question is not None:
            return
        try:
            self._activity = activity_for(step, self._situation)
            self._activity.begin()
        except Problem as problem:
            self._situation.notice = problem.sentence
            self._cannot = f"no reading, because {problem.sentence}"
            self._question = Prompt("reason", f"N{self._cannot[1:]}. Say why you go on without it.")
            self._activity = None
        self._after()

    def _after(self) -> None:
        """Go on by itself when the step at hand is over."""
        while self._activity is not None and self._activity.finished:
            self._leave_step()

    def _leave_step(self) -> None:
        step = self._step
        if step is None:
            return
        self._end_activity()
        try:
            self._journal.step_done(step.id)
        except Problem as problem:
            self._situation.unsaved = problem.sentence
        self._at += 1
        self._enter()

    def _end_activity(self) -> None:
        if self._activity is not None:
            self._activity.end()
            self._activity = None
        step = self._step
        if step is not None:
            for trimmer, turns in self._turns.items():
                text = f"{trimmer}: {len(turns)} turns, {sum(turns):+.0f}° in all"
                self._situation.note("turns", step.id, text, " ".join(f"{t:.9g}" for t in turns))
        self._turns.clear()

    # ---------------------------------------------------------------- what comes in

    def hear(self, block: Block) -> None:
        """Sound came in."""
        self._sound.hear(block)
        if self._activity is not None and self._activity.wants_sound:
            self._activity.hear(block)
            self._after()

    def tick(self) -> None:
        """No sound came: look after the port, and after what is over without sound."""
        status = self._port.status
        step = self._step
        trouble = status.detail or status.state if status.state in ("stalled", "lost") else ""
        if trouble and not self._port_trouble:
            self._situation.notice = trouble
            self._situation.note("port", step.id if step else "", f"sound lost: {trouble}")
        self._port_trouble = trouble
        if status.state == "ended" and self._activity is not None and self._activity.wants_sound:
            self._activity.port_ended()
            self._after()

    def sound_is_back(self) -> None:
        """The device was reopened: measuring goes on with what was not yet measured."""
        step = self._step
        self._port_trouble = ""
        self._situation.notice = "the sound is back; what was kept before is kept"
        self._situation.note("port", step.id if step else "", "sound is back")
        if self._activity is not None:
            self._activity.interrupted()

    def obey(self, command: say.Command) -> None:
        """Do what the person says; what can't be done is said in the notice and changes nothing."""
        self._situation.notice = ""
        try:
            self._obey(command)
        except Problem as problem:
            self._situation.notice = problem.sentence
        self._after()

    def _obey(self, command: say.Command) -> None:
        step = self._step
        if step is None or self._left:
            return
        match command:
            case say.Leave():
                self._end_activity()
                self._left = True
            case say.StopSound():
                self._situation.silence()
                self._situation.notice = "all sound is stopped; repeat the step to start it again"
            case say.Note(text):
                self._situation.note("note", step.id, text)
            case say.Turn(trimmer, degrees):
                self._turn(trimmer, degrees)
            case say.Repeat():
                self._end_activity()
                self._situation.note("repeat", step.id, step.title)
                self._situation.attempt += 1
                self._enter(again=True)
            case say.Skip(reason):
                if not reason.strip():
                    raise Problem("say why the step is skipped: the reason stands in the report")
                self._situation.note("skip", step.id, reason)
                self._question = None
                self._leave_step()
            case _ if self._question is not None:
                self._answer_question(command, step)
            case _ if self._activity is not None:
                self._tell_activity(self._activity, command)

    @staticmethod
    def _tell_activity(activity: Activity, command: say.Command) -> None:
        match command:
            case say.GoOn():
                activity.go_on()
            case say.Answer(text):
                activity.answer(text)
            case say.Tick(index):
                activity.tick(index)
            case say.Accept(reason):
                if not reason.strip():
                    raise Problem("say why it is accepted: the reason stands in the report")
                activity.accept(reason)

    def _answer_question(self, command: say.Command, step: StepBase) -> None:
        """A demand of an interlock, or a step that can't be done, is answered."""
        question = self._question
        if question is None:
            return
        match command:
            case say.GoOn() if question.kind == "confirm":
                self._interlocks.confirm(step)
            case say.Answer(text) | say.Accept(text) if question.kind == "reason" and text.strip():
                if not question.interlock:
                    self._situation.note("skip", step.id, f"{self._cannot}; {text}")
                    self._question = None
                    self._leave_step()
                    return
                self._interlocks.override(step, text)
            case _:
                raise Problem(question.text)
        self._question = None
        self._enter(again=True)

    def _turn(self, trimmer: str, degrees: float) -> None:
        hands = self._situation.hands
        if hands is None:
            raise Problem("this is a real machine: turn the trimmer by hand")
        hands.turn(trimmer, degrees)
        self._turns.setdefault(trimmer, []).append(degrees)

    # ---------------------------------------------------------------- what is shown

    def outcome(self) -> Outcome:
        """How the run ended, or would if it ended now."""
        completed = self._at >= len(self._job.steps)
        return judge_run(self._job, self._journal, completed=completed)

    def snapshot(self) -> Snapshot:
        """All there is to see."""
        job, situation, step = self._job, self._situation, self._step
        view = self._activity.view() if self._activity is not None else View(self._question or WAIT)
        shown = None
        if step is not None:
            shown = StepView(
                id=step.id,
                kind=step.kind,  # type: ignore[attr-defined]
                title=step.title,
                index=self._at + 1,
                total=len(job.steps),
                stage=step.stage,
                cautions=step.cautions,
                do=step.do,
                good=step.good,
                why=step.why,
                if_not=step.if_not,
                hints=step.hints,
                direction=step.direction or "",
                lot=step.lot if isinstance(step, Measuring) else "",
            )
        hands = situation.hands
        trimmers = tuple(t for t in hands.trimmers() if t.name in view.trimmers) if hands is not None else ()
        return Snapshot(
            job=job_view(job),
            step=shown,
            prompt=view.prompt,
            sound=InputView(*self._sound.state(), self._port.status),
            gauges=view.gauges,
            tones=view.tones,
            checks=view.checks,
            timer_left_s=view.timer_left_s,
            curves=view.curves,
            sending=situation.sending,
            trimmers=trimmers,
            can_accept=view.can_accept,
            notice=self._port_trouble or situation.notice,
            unsaved=situation.unsaved,
            last=tuple((t.reading, t.verdict) for t in situation.last),
            outcome=self.outcome() if self.finished else None,
        )


def job_view(job: Job) -> JobView:
    """What is on the bench, in words."""
    machine = job.machine
    t1, t2 = machine.equalisation_us
    return JobView(
        procedure=job.procedure.title,
        machine=machine.name,
        tape=job.tape.name,
        reference_tape=job.reference_tape.name,
        speed=f"{machine.speed_mm_s:g} mm/s",
        equalisation=f"{t1:g} µs" + (f" + {t2:g} µs" if t2 else ""),
        reference_level=f"{machine.reference.fluxivity_nwb_m:g} nWb/m ({machine.reference.fluxivity_method})",
    )
