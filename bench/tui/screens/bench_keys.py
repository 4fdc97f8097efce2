"""The keys of the bench screen: each sends a command to the bench thread or opens a dialog."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path

from textual import events
from textual.screen import Screen
from textual.widgets import Input

from bench.problem import Problem
from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Prompt, Snapshot
from bench.tui import actions, presentation
from bench.tui.actions import KeyAction
from bench.tui.focus_help import about
from bench.tui.going_on import MeasuringSteps, ProposedTurns
from bench.tui.screens.countdown import CountDown, Hints
from bench.tui.screens.dialogs import AskText, CardDialog, Confirm, HelpDialog
from bench.tui.screens.guide import CAUTION, Guide, GuideSwitch
from bench.tui.screens.pages import PagesScreen, report_lines
from bench.tui.screens.results import ResultsDialog
from bench.tui.text import plain
from bench.tui.widgets.line_widget import ROLE_CLASSES
from bench.tui.widgets.tones import ToneBoard

AS_NEAR = "as near as it can be read"
"""The reason that is offered where no turn brings a reading nearer."""


class BenchKeys(Screen[str]):
    """The part of the bench screen that handles keys."""

    COMPONENT_CLASSES = ROLE_CLASSES
    BINDINGS = actions.bindings(actions.BENCH)

    def __init__(self) -> None:
        super().__init__()
        self._snapshot: Snapshot | None = None
        self._picked = 0
        self._settled = False
        self._hinted: dict[str, int] = {}
        self._guide = GuideSwitch()
        self._steps_on = MeasuringSteps()
        self._turns_on = ProposedTurns()
        self.trainee = False
        """Whether the whole card is always shown, and used hints are noted."""

    def _post(self, command: say.Command) -> None:
        raise NotImplementedError

    def _what_is_wrong(self) -> tuple[list[str], say.Command | None]:
        """The diagnosis so far, as lines, and the command for the suggested test."""
        raise NotImplementedError

    def _open_guide(self) -> Guide:
        """The audible guide; raises `Problem` where it has no output of its own."""
        raise NotImplementedError

    @property
    def settled(self) -> bool:
        """Whether the screen shows the effect of every command."""
        raise NotImplementedError

    def action_linear_axis(self) -> None:
        """Switch between a logarithmic frequency axis and a linear one with the fitted film."""
        if self._snapshot is not None:
            self.query_one(ToneBoard).turn_axis(self._snapshot.job.speed_mm_s)

    def _pick_again(self) -> None:
        """Show a changed selection."""
        raise NotImplementedError

    @property
    def _folder(self) -> Path | None:
        """The session's folder."""
        raise NotImplementedError

    @property
    def key_actions(self) -> tuple[KeyAction, ...]:
        """The actions possible now, for palette and help."""
        return tuple(
            v for v in actions.BENCH if self._snapshot is None or presentation.is_possible(self._snapshot, v.action)
        )

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Disable keys that do nothing now. Until the bench is ready, letters may belong to an answer."""
        if self._snapshot is None:
            return action in ("leave", "stop_sound", "help") or action.startswith("app.")
        return action in self._going or presentation.is_possible(self._snapshot, action)

    @property
    def _ended_run(self) -> bool:
        return self._snapshot is not None and self._snapshot.outcome is not None

    def _go_back(self) -> None:
        if self._settled:
            self.dismiss("")

    @property
    def _prompt(self) -> Prompt:
        return self._snapshot.prompt if self._snapshot else Prompt("wait", "")

    def action_go_on(self) -> None:
        """The key that goes on."""
        if self._ended_run:
            self._go_back()
        elif self._prompt.kind == "choice" and self._prompt.choices:
            self._post(say.Answer(self._prompt.choices[self._picked]))
        elif self._prompt.kind == "reason":
            self.action_accept()
        elif self._prompt.kind == "go-on" and self._prompt.sounds:
            self._count_down(self._prompt)
        else:
            self._post(say.GoOn())

    def _count_down(self, asked: Prompt) -> None:
        """Count down before tones start."""

        def done(answer: str | None) -> None:
            if answer and self._prompt == asked:
                self._post(say.GoOn())

        self.app.push_screen(CountDown(asked.text), done)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Send the typed text as the answer."""
        event.stop()
        self._post(say.Answer(plain(event.value).replace("−", "-").strip()))

    def on_key(self, event: events.Key) -> None:
        """Digits tick, choose, or select a trimmer."""
        seen = self._snapshot
        if seen is None or not event.character or event.character not in "123456789":
            return
        n = int(event.character) - 1
        if self._prompt.kind == "choice" and n < len(self._prompt.choices):
            self._post(say.Answer(self._prompt.choices[n]))
        elif seen.trimmers and n < len(seen.trimmers):
            self._picked = n
            self._pick_again()
        elif n < len(seen.checks):
            self._post(say.Tick(n))

    def action_turn(self, degrees: int) -> None:
        """Turn the selected trimmer, or move through choices."""
        seen = self._snapshot
        if seen is None:
            return
        if self._prompt.kind == "choice":
            step = -1 if degrees in (10, -2) else 1
            self._picked = max(0, min(len(self._prompt.choices) - 1, self._picked + step))
            self._pick_again()
        elif seen.trimmers:
            self._turns_on.stop()
            trimmer = seen.trimmers[min(self._picked, len(seen.trimmers) - 1)]
            self._post(say.Turn(trimmer.name, float(degrees)))

    @property
    def _going(self) -> tuple[str, ...]:
        """Actions that a key began and that go on without keys."""
        going = {"run_on": self._steps_on.going, "turn_as_shown": self._turns_on.going}
        return tuple(action for action, on in going.items() if on)

    def action_run_on(self) -> None:
        """Let measuring steps follow one another automatically, or stop that."""
        if self._steps_on.going:
            self._steps_on.stop()
            return

        def done(answer: str | None) -> None:
            if answer is not None:
                self._steps_on.begin()
                self._go_on_without_keys()

        self.app.push_screen(CountDown("The measuring steps follow one another. p or s ends that."), done)

    def action_turn_as_shown(self) -> None:
        """Make the turns that gauges propose, one after another, until none is left; once more stops that."""
        step = self._snapshot.step if self._snapshot is not None else None
        if step is None or self._turns_on.going:
            self._turns_on.stop()
        else:
            self._turns_on.begin(step.id)
            self._go_on_without_keys()

    def _go_on_without_keys(self) -> None:
        """Do what a key began, once the screen shows the effect of every command."""
        seen = self._snapshot
        if seen is None or not self.settled:
            return
        if self._steps_on.answer(seen):
            self._post(say.GoOn())
        turn = self._turns_on.next(seen, self._picked)
        if turn is not None:
            self._picked = [t.name for t in seen.trimmers].index(turn.trimmer)
            self._pick_again()
            self._post(turn)

    def action_accept(self) -> None:
        """Keep a reading that is not in, with a reason."""
        seen = self._snapshot
        if seen is None or seen.outcome is not None:
            return
        if self._prompt.kind == "reason":
            self._ask(self._prompt.text, "keeps it", say.Accept)
        elif seen.tones:
            self._ask("Why does the play end before its last tone?", "ends it", say.Accept)
        else:
            near = bool(seen.gauges) and all(gauge.advice == "hold" for gauge in seen.gauges)
            self._ask("Why is it kept although it is not in?", "keeps it", say.Accept, AS_NEAR if near else "")

    def action_skip(self) -> None:
        """Skip the step, with a reason."""
        self._ask("Why is this step skipped?", "skips it", say.Skip)

    def action_note(self) -> None:
        """Write a note into the report."""
        self._ask("Note for the report", "keeps the note", say.Note)

    def _ask(self, question: str, then: str, make_command: Callable[[str], say.Command], usual: str = "") -> None:
        if self._snapshot is None or self._snapshot.outcome is not None:
            return

        def done(text: str | None) -> None:
            if text:
                self._post(make_command(text))

        self.app.push_screen(AskText(question, then, usual), done)

    def action_again(self) -> None:
        """Repeat the step."""
        self._post(say.Repeat())

    def action_back(self) -> None:
        """Back to the previous step."""
        self._post(say.Back())

    def action_run_test(self) -> None:
        """Choose a test in mid-exercise."""
        self._post(say.RunTest())

    def action_hold(self) -> None:
        """Hold, or resume."""
        if self._snapshot is not None and self._snapshot.held:
            self.action_go_on()
        else:
            self._post(say.Hold())

    def action_stop_sound(self) -> None:
        """Stop all sound."""
        self._steps_on.stop()
        self._turns_on.stop()
        self._guide.turn_off()
        self._post(say.StopSound())

    def action_why(self) -> None:
        """The whole card."""
        if self._snapshot is not None and self._snapshot.step is not None:
            self.app.push_screen(CardDialog(self._snapshot.step))

    def action_far(self) -> None:
        """Switch between the usual view and a large one for reading from a distance."""
        self.toggle_class("far")
        self._pick_again()

    def action_guide(self) -> None:
        """Switch the audible guide on or off."""
        if self._guide.is_on:
            self._guide.turn_off()
        else:
            self.app.push_screen(Confirm(CAUTION, "sound it", "stay silent"), self._sound_guide)

    def _sound_guide(self, answer: str | None) -> None:
        async def sound() -> None:
            try:
                self._guide.turn_on(await asyncio.to_thread(self._open_guide))
                self._guide.show(self._snapshot, self._picked)
            except Problem as problem:
                self.app.push_screen(PagesScreen("Audible guide", [problem.sentence]))
            if not self.is_attached:
                self._guide.turn_off()

        if answer:
            self.run_worker(sound(), group="guide", exclusive=True)

    def action_results(self) -> None:
        """Everything measured so far."""
        if self._snapshot is not None:
            self.app.push_screen(ResultsDialog(self._snapshot))

    def action_hint(self) -> None:
        """The next hint: think, look, do, answer."""
        step = self._snapshot.step if self._snapshot is not None else None
        if step is None:
            return
        before = self._hinted.get(step.id, 0)

        def done(shown: str | None) -> None:
            count = int(shown or before)
            if self.trainee and count > before:
                self._post(say.Note(f"hints looked at: {count}"))
            self._hinted[step.id] = max(before, count)

        self.app.push_screen(Hints(step, before + 1), done)

    def action_diagnose(self) -> None:
        """Show what is wrong, computed on a thread while the bench goes on; a trainee names causes first."""
        if not self.trainee:
            self._show_when_read("What is wrong", self._what_is_wrong, self._post)
            return

        def done(named: str | None) -> None:
            if named:
                self._post(say.Note(f"thought to be wrong: {named}"))
                self._show_when_read(f"You said: {named}", self._what_is_wrong, self._post)

        self.app.push_screen(AskText("What do you think is wrong? Name one cause or more.", "compares"), done)

    def action_report(self) -> None:
        """Read the report of the job that is over."""
        folder = self._folder
        if self._settled and folder is not None:
            self._show_when_read(f"Report of {folder.name}", lambda: (report_lines(folder), None), self._post)

    def _do_test(self, test: say.Command, post: Callable[[say.Command], None]) -> None:
        """Do the suggested test; after a look, ask what it showed."""
        if not isinstance(test, say.Look):
            post(test)
            return

        def done(answer: str | None) -> None:
            if answer and answer[0].casefold() in "yn":
                post(say.Look(test.cause, seen=answer[0].casefold() == "y"))

        self.app.push_screen(AskText(f"{test.question} Type yes or no.", "keeps it"), done)

    def _show_when_read(
        self, title: str, read: Callable[[], tuple[list[str], say.Command | None]], post: Callable[[say.Command], None]
    ) -> None:
        """Show lines that are read on a thread; with a command, a key that posts it."""

        async def show() -> None:
            try:
                text, command = await asyncio.to_thread(read)
            except Problem as problem:
                text, command = [problem.sentence], None
            if self.is_current:
                start = (lambda: self._do_test(command, post)) if command is not None else None
                self.app.push_screen(PagesScreen(title, text, start=start))

        self.run_worker(show(), group="reading", exclusive=True)

    def action_help(self) -> None:
        """Help, and all keys that have an effect now."""
        self.app.push_screen(HelpDialog(self.key_actions, about(self._snapshot) if self._snapshot is not None else ()))

    def action_leave(self) -> None:
        """Leave the job, after a question."""
        if self._ended_run:
            self._go_back()
            return

        def done(text: str | None) -> None:
            if text:
                self._post(say.Leave())

        self.app.push_screen(
            Confirm("Leave this job? What was kept is kept; it can be resumed.", "leave", "stay"), done
        )
