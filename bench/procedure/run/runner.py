"""The runner takes a person, or unattended hands, through a procedure. It has no screen and no device."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bench.audio.port import Block, Port
from bench.clock import Clock
from bench.problem import Problem
from bench.procedure.kinds.activity import WAIT, Activity, View
from bench.procedure.kinds.bench import Bench, Figures, no_figures
from bench.procedure.kinds.by_hand.decision import DecisionActivity
from bench.procedure.kinds.dispatch import activity_for
from bench.procedure.model.job import Job, JobStep
from bench.procedure.model.steps import Adjust, Measuring
from bench.procedure.run import commands as say
from bench.procedure.run.chosen_test import ChosenTest
from bench.procedure.run.disturbances import Disturbances
from bench.procedure.run.input_monitor import InputMonitor
from bench.procedure.run.interlocks import Interlocks
from bench.procedure.run.lost_sound import LostSound
from bench.procedure.run.out_of_order import OutOfOrder
from bench.procedure.run.views import HELD, STOPPED, job_view, step_view
from bench.procedure.state import events
from bench.procedure.state.as_found import AsFound
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.journal import Journal
from bench.procedure.state.judge_run import judge_run
from bench.procedure.state.snapshot import Curve, Outcome, Prompt, Snapshot


class Runner:
    """A state machine: sound and commands go in, snapshots come out. All calls come from one thread."""

    def __init__(self, job: Job, port: Port, journal: Journal, clock: Clock, choice: Figures = no_figures) -> None:
        self.job = job
        """What is on the bench."""
        self._journal = journal
        self._port = port
        self._bench = Bench(job, port, journal, clock, choice)
        self._progress = self._bench.progress
        self._interlocks = Interlocks(self._bench)
        self._disturbances = Disturbances(self._bench)
        self._out_of_order = OutOfOrder(self._bench)
        self._sound = InputMonitor(clock)
        self._lost = LostSound(self._bench)
        self._as_found = AsFound(journal)
        self._test = ChosenTest(job)
        self.at = 0
        """Index of the current step; the number of steps when all are over."""
        self._activity: Activity[Any] | None = None
        self._question: Prompt | None = None
        self._accepted = self._left = self._stopped = False
        self._held_at: float | None = None
        self._unheard = self._obeyed = 0
        self._port_trouble = self._cannot = ""
        self._job_view = job_view(job)
        self._last_curves: tuple[Curve, ...] = ()

    @property
    def finished(self) -> bool:
        """Whether all steps are over, or the run was left."""
        return self._left or self.at >= len(self.job.steps)

    @property
    def wants_sound(self) -> bool:
        """Whether the current step listens."""
        heard = self._held_at is None and not self._stopped
        return self._activity is not None and self._activity.wants_sound and heard

    @property
    def _step(self) -> JobStep | None:
        here = self.job.steps[self.at] if self.at < len(self.job.steps) else None
        return self._test.step or (here and self._out_of_order.staged(here))

    def begin(self) -> None:
        """Start at the first step, or at the step where an interrupted session stopped."""
        self.at = self._progress.current()
        resumed = bool(self._journal.events())
        for left in () if resumed else self.job.inapplicable:
            self._bench.note(left.id, events.NotApplicable(left.title, left.why))
        step = self._step
        if step is None:
            return
        self._bench.note(step.id, events.Resumed() if resumed else events.Started())
        self._enter()
        self._after()
        self._bench.notice = self._bench.notice or ("" if resumed else self.job.lacks)

    def _enter(self, *, again: bool = False) -> None:
        """Begin the current step, unless an interlock has a question first."""
        step = self._step
        self._accepted = self._stopped = False
        if step is None:
            self._bench.note(self.job.steps[-1].id, events.Done())
            return
        if not again:
            records = [r.attempt for r in self._journal.records() if r.step == step.id]
            self._bench.attempt = 1 + max(records, default=0)
        self._bench.job = self.job.at(step.lot)
        self._job_view = job_view(self._bench.job)
        self._question = self._interlocks.demand(step)
        if self._question is not None:
            return
        try:
            self._activity = activity_for(step, self._bench)
            self._activity.begin()
        except Problem as problem:
            self._bench.notice = problem.sentence
            self._cannot = problem.sentence
            because = f"No reading, because {self._cannot}. Say why you go on without it."
            self._question = Prompt("reason", because)
            self._activity = None

    def _after(self) -> None:
        """Go on automatically while the activity is finished."""
        while self._activity is not None and self._activity.finished:
            following = self._activity.then()
            if following is None:
                self._leave_step()
            else:
                self._activity = following
                following.begin()

    def _leave_step(self, *, skipped: bool = False) -> None:
        step, activity = self._step, self._activity
        if step is None:
            return
        self._bench.notice = ""  # it was about the step that ends here
        self._end_activity(skipped=skipped)
        if self._test.step_over(activity):
            self._enter()
            return
        not_in = () if skipped or self._accepted else self._progress.not_in(step, self._bench.attempt)
        back = self._progress.retry_from(step, not_in) if not_in else None
        if back is not None:
            self._go_again(step, back, not_in)
            return
        if activity is not None and activity.back_to and not skipped:
            self._go_back(step, self.job.steps_named(activity.back_to, step.direction).first)
            return
        goes_to = self._out_of_order.back_from(step)
        if goes_to is None and isinstance(activity, DecisionActivity) and not skipped:
            goes_to = self._decided(step, activity)
        self._bench.step_done(step)
        self.at = self.at + 1 if goes_to is None else goes_to
        self._enter()

    def _go_again(self, step: JobStep, back: int, not_in: tuple[str, ...]) -> None:
        """`again_until`: go back to an earlier step, because not all readings are in."""
        gone = self._progress.going_again(step, back, not_in)
        self._bench.note(step.id, gone)
        self.at = back
        self._enter()
        self._bench.notice = event_sentence(gone, {s.id: s.title for s in self.job.steps})

    def _decided(self, step: JobStep, activity: DecisionActivity) -> int:
        """Note a decision. Returns the index of the next step."""
        to = self.at + 1
        if activity.goes_to:
            to = max(to, self.job.steps_named(activity.goes_to, step.direction).first)
        decided = self._progress.decided(self.at, to, activity.answered, activity.all_in, activity.not_in)
        self._bench.note(step.id, decided)
        return to

    def _end_activity(self, *, skipped: bool = False) -> None:
        step = self._step
        if self._activity is not None:
            curves = self._activity.view().curves if isinstance(step, Adjust) else ()
            self._last_curves = curves if isinstance(step, Measuring) else self._last_curves
            self._activity.end()
            self._activity = None
            self._bench.keep_sound_heard()
            if isinstance(step, Adjust):
                self._bench.keep_curves(step, curves)
        if step is not None:
            turned = tuple(self._bench.turned)
            self._bench.keep_turns(step)
            self._disturbances.step_ends(step, skipped=skipped, turned=turned)

    def close(self) -> None:
        """Keep the turns and the sound of a step that did not end in order. Call it when the run is over."""
        if self._step is not None:
            self._bench.keep_turns(self._step)
        self._bench.keep_sound_heard()

    def hear(self, block: Block) -> None:
        """Take in a block of sound."""
        self._bench.retry_saving()
        self._sound.hear(block)
        self._sound.watch_hum(block, self._port.status.sample_rate)
        if self._held_at is not None:
            self._unheard += len(block.samples)
        elif self._activity is not None and self.wants_sound:
            lost, self._unheard = block.lost + self._unheard, 0
            whole = replace(block, lost=lost) if lost else block
            if self._step is not None:
                self._bench.hold_sound(self._step, whole)
            if not self._lost.spoils(block, self._activity, self._step):
                self._activity.hear(whole)
            self._after()

    def tick(self) -> None:
        """Call when no sound came: check the port, and tell the activity when the capture has ended."""
        self._bench.retry_saving()
        status = self._port.status
        step = self._step
        trouble = status.detail or status.state if status.state in ("stalled", "lost") else ""
        if trouble and not self._port_trouble:
            self._bench.notice = trouble
            self._bench.note(step.id if step else "", events.SoundLost(trouble))
            if step is not None and self._bench.sending and self._held_at is None:
                self._hold(step)  # tones must not restart without a person
        self._port_trouble = trouble
        if status.state == "ended" and self._activity is not None and self._activity.wants_sound:
            self._activity.port_ended()
            self._after()

    def sound_is_back(self) -> None:
        """Go on after the device was reopened: measure what was not measured yet."""
        self._port_trouble = ""
        self._lost.expected()
        on = "; tones start again when you go on" if self._held_at is not None else ""
        self._bench.notice = f"the sound is back; what was kept before is kept{on}"
        self._bench.note(self._step.id if self._step else "", events.SoundBack())
        if self._activity is not None and self._held_at is None:
            self._activity.interrupted()

    def obey(self, command: say.Command) -> None:
        """Obey a command. One that cannot be obeyed changes nothing; the notice says why."""
        self._bench.notice = ""
        self._obeyed += 1
        try:
            self._obey(command)
        except Problem as problem:
            self._bench.notice = problem.sentence
        self._after()

    def _obey(self, command: say.Command) -> None:
        step = self._step
        if step is None or self._left or (self._held_at is not None and self._while_held(command, step)):
            return
        match command:
            case say.Leave():
                self._end_activity(skipped=True)
                self._left = True
            case say.StopSound():
                self._stopped = self._stopped or bool(self._bench.sending)
                self._bench.silence()
                self._bench.notice = "all sound is stopped"
            case say.Note(text):
                self._bench.note(step.id, events.Noted(text))
            case say.Turn(trimmer, degrees):
                self._bench.turn(trimmer, degrees)
            case say.GoOn() if self._stopped:
                self._obey(say.Repeat())
            case say.Repeat():
                self._end_activity(skipped=True)
                self._bench.note(step.id, events.Repeated())
                self._bench.attempt += 1
                self._enter(again=True)
            case say.Back():
                self._back(step)
            case say.RunTest():
                self._test.refuse()
                self._break_off()
                self._test.begin()
                self._enter()
            case say.GoAside(first, last):
                self._break_off()
                self.at = self._out_of_order.begin(step, first, last)
                self._enter()
            case say.Look(cause, seen):
                self._bench.note(step.id, events.Looked(cause, seen))
            case say.Skip(reason):
                if not reason.strip():
                    raise Problem("say why the step is skipped: the report gives the reason")
                self._bench.note(step.id, events.Skipped(reason))
                self._question = None
                self._leave_step(skipped=True)
            case say.Hold():
                self._hold(step)
            case _ if (question := self._question) is not None:
                self._answer_question(question, command, step)
            case say.Accept(reason) if not reason.strip():
                raise Problem("say why it is accepted: the report gives the reason")
            case _ if self._activity is not None:
                say.pass_on(self._activity, command)
                self._accepted = isinstance(command, say.Accept)

    def _back(self, step: JobStep) -> None:
        """Go back to the previous step, or from a test to the job; its readings stay as an earlier attempt."""
        to = self.at if self._test.step is not None else self._progress.previous(self.at)
        if to is None:
            raise Problem("there is no step before this one to go back to")
        self._break_off()
        if self._test.stop():
            self._enter()
        else:
            self._go_back(step, to)

    def _break_off(self) -> None:
        self._end_activity(skipped=True)
        self._question = None

    def _go_back(self, step: JobStep, to: int) -> None:
        self._bench.note(step.id, events.WentBack(*self._progress.moved_to(to, over=0)))
        self.at = to
        self._enter()

    def _hold(self, step: JobStep) -> None:
        """Pause sound, tape and timer."""
        self._held_at = self._bench.clock.now()
        self._bench.hold()
        if self._activity is not None:
            self._activity.hold()
        self._bench.note(step.id, events.Held())

    def _while_held(self, command: say.Command, step: JobStep) -> bool:
        """Handle a command while everything is paused. Returns whether nothing remains to be done."""
        match command:
            case say.GoOn() | say.Hold() if self._port_trouble:
                raise Problem(f"{self._port_trouble}; go on when the sound is back")
            case say.GoOn() | say.Hold():
                self._release(step)
                return True
            case say.Repeat() | say.Back() | say.Skip() | say.Leave():
                self._release(step)
                return False
            case say.Note() | say.Turn() | say.StopSound():
                return False
        raise Problem("on hold: go on first")

    def _release(self, step: JobStep) -> None:
        held_s = self._bench.clock.now() - (self._held_at or 0.0)
        self._held_at = None
        self._bench.note(step.id, events.Released(round(held_s, 1)))
        self._bench.release()
        if self._activity is not None:
            self._activity.release()
            if self._activity.wants_sound:
                self._activity.interrupted()

    def _answer_question(self, question: Prompt, command: say.Command, step: JobStep) -> None:
        """Handle the answer to an interlock, or to a step that cannot be done."""
        match command:
            case say.GoOn() if question.kind == "confirm":
                self._interlocks.confirm(step)
            case say.Answer(text) | say.Accept(text) if question.kind == "reason" and text.strip():
                if not question.interlock:
                    self._bench.note(step.id, events.Skipped(text, self._cannot))
                    self._question = None
                    self._leave_step(skipped=True)
                    return
                self._interlocks.override(step, text)
            case _:
                raise Problem(question.text)
        self._question = None
        self._enter(again=True)

    def outcome(self) -> Outcome:
        """The outcome of the run, or the outcome if it ended now."""
        return judge_run(self.job, self._journal)

    def snapshot(self) -> Snapshot:
        """Everything a screen shows, at this moment."""
        bench, held = self._bench, self._held_at is not None
        view = self._activity.view() if self._activity is not None else View(self._question or WAIT)
        return Snapshot(
            job=self._job_view,
            step=step_view(self.job, self.at, beside=self._test.step, hides_why=view.hides_why),
            prompt=replace(HELD, sounds=bool(bench.sending)) if held else STOPPED if self._stopped else view.prompt,
            sound=self._sound.view(self._port.status),
            gauges=view.gauges,
            tones=view.tones,
            checks=view.checks,
            timer_left_s=view.timer_left_s,
            curves=view.curves,
            sending="" if held else bench.sending,
            trimmers=bench.trimmers(view.trimmers),
            can_accept=view.can_accept and not held,
            notice=self._port_trouble or bench.notice,
            unsaved=bench.unsaved,
            outcome=self.outcome() if self.finished else None,
            held=held,
            to_check_again=bench.to_check_again,
            head_delay_s=view.head_delay_s,
            as_found=self._as_found.points(self._step),
            flutter=view.flutter,
            spectrum=view.spectrum,
            to_sign=view.to_sign,
            to_choose_by=view.to_choose_by,
            seen=view.seen,
            can_go_back=self._test.step is not None or self._progress.previous(self.at) is not None,
            can_test=bool(self.job.tests) and self._test.step is None,
            kept=self._journal.records(),
            obeyed=self._obeyed,
            last_curves=self._last_curves,
        )
