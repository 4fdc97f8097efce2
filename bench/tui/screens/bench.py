"""The bench screen: shows snapshots and turns keys into commands. It knows nothing about sound or procedures."""

from __future__ import annotations

import asyncio
import time
from contextlib import suppress
from pathlib import Path

from textual import events
from textual.app import ComposeResult
from textual.containers import Container, Horizontal, Vertical
from textual.widgets import Input

from bench.problem import Problem
from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Gauge, Outcome, Prompt, Snapshot
from bench.tui import presentation
from bench.tui.learned_turns import LearnedTurns
from bench.tui.messages import SnapshotReady
from bench.tui.screens.answer_field import AnswerField
from bench.tui.screens.bench_card import BenchCard
from bench.tui.screens.bench_job import BenchJob, Desk
from bench.tui.screens.far_view import FarView
from bench.tui.screens.guide import Guide
from bench.tui.text import plain, wrap
from bench.tui.widgets.choice_lists import Lines, check_lines, choice_lines, timer_lines, trimmer_line
from bench.tui.widgets.flutter import FlutterBoard
from bench.tui.widgets.footer import Bar, Footer, Notice, bar_lines
from bench.tui.widgets.gauge import GaugeColumn
from bench.tui.widgets.header import JobStrip, SoundStrip, TitleStrip, sound_trouble, sound_warning
from bench.tui.widgets.line_widget import Line, set_height
from bench.tui.widgets.outcome import ending_lines
from bench.tui.widgets.results import earlier_tones, last_line, last_readings, step_lines, totals_lines
from bench.tui.widgets.step_card import READABLE, Card
from bench.tui.widgets.tones import ToneBoard

STOP_S = 1.0
"""How long a closing screen waits for the bench thread; longer waits happen after the screen has closed."""

SLOW_S = 2.0
"""A bench thread without a snapshot for this long is waiting for a slow disk or a sound device."""

STILL_WRITING = "Not all is on disk yet."

FIGURES_EVERY_S = 0.13
"""Figures change 7 to 8 times a second at most, so that they can be read; bars follow every snapshot."""


class BenchScreen(BenchCard):
    """The bench screen. Dismissed with a sentence for the chooser, or ""."""

    AUTO_FOCUS = ""

    def __init__(self, job: BenchJob) -> None:
        super().__init__()
        self._job = job
        self._desk: Desk | None = None
        self._newest: Snapshot | None = None
        self._message_pending = False
        self._figures_drawn_at = 0.0
        self._learned = LearnedTurns()
        self._redraw_scheduled = False
        self._answered_at = time.monotonic()
        self._waiting = False
        self._posted = 0
        self._shown_prompt = Prompt("wait", "")
        self._closing_sentence = self._cause = ""
        self._finished = False
        self.refusal = ""
        """Why the bench could not be opened, in one sentence."""
        self.exit_code = 1
        """0 if the job was completed and everything judged is in."""

    def compose(self) -> ComposeResult:
        """All panels of the screen; one is visible at a time."""
        yield JobStrip(id="job")
        yield SoundStrip(id="sound")
        yield TitleStrip(id="title")
        with Container(id="work"):
            yield Card(id="card")
            with Horizontal(id="gauges"):
                yield GaugeColumn(id="first")
                yield GaugeColumn(id="second")
            yield ToneBoard(id="tones")
            yield FlutterBoard(id="flutter")
            yield FarView(id="far")
            with Vertical(id="answers"):
                with Horizontal(id="ticks"):
                    yield Lines(id="list")
                    yield Lines(id="timer")
                yield AnswerField(id="answer", compact=True, max_length=2000, disabled=True)
            yield Lines(id="ending")
        yield Lines(id="trimmers")
        yield Lines(id="last")
        yield Bar("go_on", id="prompt")
        yield Notice(id="notice")
        yield Footer(id="footer")

    async def on_mount(self) -> None:
        """Open the job while the screen is already visible."""
        self.query_one(Notice).show("Getting the bench ready …", "quiet")
        self.run_worker(self._open(), exclusive=True)
        self.set_interval(1.0, self._show_waiting)

    async def _open(self) -> None:
        try:
            self._desk = await asyncio.to_thread(self._job.open, self._on_snapshot)
            self.trainee = self._job.trainee
            await asyncio.to_thread(self._desk.start)
        except Problem as problem:
            self._finished, self.refusal = True, problem.sentence
            await asyncio.to_thread(self._job.close, None)
            if self.is_current:
                self.dismiss(self.refusal)

    def on_screen_resume(self) -> None:
        """Show a refusal that came while a dialog was open over this screen."""
        if self.refusal:
            self.dismiss(self.refusal)

    def _on_snapshot(self, snapshot: Snapshot) -> None:
        """Called on the bench thread: store the newest snapshot, and post at most one message about it."""
        same, self._newest = snapshot == self._newest, snapshot
        self._answered_at = time.monotonic()
        if same:
            return  # nothing to draw: an idle bench costs nothing
        if not self._message_pending:
            self._message_pending = True
            self.post_message(SnapshotReady())

    async def on_unmount(self) -> None:
        """Stop the sound and close the session, however the screen closes."""
        self._guide.turn_off()
        await self._finish()

    async def _finish(self) -> None:
        if self._finished:
            return
        self._finished = True
        if self._desk is None:
            return
        if await asyncio.to_thread(self._desk.stop, STOP_S):
            outcome = self._snapshot.outcome if self._snapshot else None
            self._closing_sentence = await asyncio.to_thread(self._job.close, outcome)
        else:
            self._closing_sentence = STILL_WRITING
            self.app.close_late = self._job.close_late  # type: ignore[attr-defined]

    async def on_snapshot_ready(self) -> None:
        """Show a snapshot: bars, steps and verdicts at once, figures at their own rate."""
        self._message_pending = False
        new, old = self._newest, self._figures
        if new is not None:
            new = self._learned.shown(new)
        self._snapshot = new
        if new is None or not self.display:  # the screen is closing
            return
        self._guide.show(new, self._picked)
        self.query_one(SoundStrip).show(new.sound, new.sending, figures=False)
        now = time.monotonic()
        if (
            old is None
            or presentation.visible_state(new) != presentation.visible_state(old)
            or now - self._figures_drawn_at >= FIGURES_EVERY_S
        ):
            await self._show(new, now)
        elif not self._redraw_scheduled:
            self._redraw_scheduled = True
            self.set_timer(FIGURES_EVERY_S - (now - self._figures_drawn_at), self._redraw)

    async def _redraw(self) -> None:
        self._redraw_scheduled = False
        if self._snapshot is not None and self._snapshot is not self._figures and self.display:
            await self._show(self._snapshot, time.monotonic())

    async def _show(self, new: Snapshot, now: float) -> None:
        old, self._figures, self._figures_drawn_at = self._figures, new, now
        if old is None or presentation.step_and_prompt(old) != presentation.step_and_prompt(new):
            self._picked = new.prompt.first
        is_new_step = new.step is not None and (old is None or old.step is None or old.step.id != new.step.id)
        if is_new_step and new.step is not None:
            self._step_began = now
            self._cautions_read, self._given = self._given, frozenset(new.step.cautions)
            self._cause = ""
            if old is not None and not self.trainee:  # who names causes first
                self.run_worker(self._show_cause(old, new), group="cause", exclusive=True)
        if old is not None and len(new.kept) > len(old.kept) and self.app.bell_on:  # type: ignore[attr-defined]
            self.app.bell()
        with self.app.batch_update():
            self._show_panel(presentation.panel_of(new))
            self.query_one(SoundStrip).show(new.sound, new.sending)
            self.query_one(JobStrip).show(new.job)
            self.query_one(TitleStrip).show(new.step)
            self._show_card(new)
            self._show_gauges_and_tones(new)
            self._show_bottom(new)
        if is_new_step and new.step is not None:
            self._new_step(new.step)
        self._go_on_without_keys()
        if new.outcome is not None and not self._finished:
            self.run_worker(self._end(new.outcome))

    def _show_panel(self, panel: str) -> None:
        if panel != self._panel:
            self.remove_class(f"panel-{self._panel}")
            self.add_class(f"panel-{panel}")
            self._panel = panel

    def _show_gauges_and_tones(self, new: Snapshot) -> None:
        trouble, warning = sound_trouble(new.sound), sound_warning(new.sound)
        first, second = self.query_one("#first", GaugeColumn), self.query_one("#second", GaugeColumn)
        second.display = len(new.gauges) > 1
        curves = {c.channel: c for c in new.curves}

        def shown(column: GaugeColumn, gauge: Gauge | None, more: tuple[Gauge, ...]) -> None:
            column.show(gauge, (trouble, warning), more, curves.get(gauge.channel) if gauge else None)

        if new.gauges:
            shown(first, new.gauges[0], new.gauges[2::2])
            shown(second, new.gauges[1] if len(new.gauges) > 1 else None, new.gauges[3::2])
        self.query_one(ToneBoard).show(earlier_tones(new), new.as_found)
        totals = totals_lines(new, self.query_one("#work").size.width) if new.flutter else ()
        self.query_one(FlutterBoard).show(new.flutter, new.spectrum, totals)
        self.query_one(FarView).show(new, self._picked)
        strip = self.query_one("#trimmers", Lines)
        strip.display = bool(new.trimmers)
        strip.show([trimmer_line(new.trimmers, self._picked, self.size.width)])
        self._show_answers(new)

    def _show_answers(self, new: Snapshot) -> None:
        timer, listed, field = self.query_one("#timer", Lines), self.query_one("#list", Lines), self.query_one(Input)
        clock = timer_lines(new.timer_left_s) if new.timer_left_s is not None else []
        timer.display = bool(clock)
        timer.show(clock)
        width, room = listed.size.width or self.size.width, max(5, self.size.height - 16)
        _, whole = presentation.shortened_prompt(presentation.key_prompt(new), new.prompt.kind, self.size.width)
        lines: list[Line] = [[(line, "")] for line in wrap(" ".join(whole), min(width, READABLE))]
        decided_by = (*new.to_choose_by, *new.to_sign)
        signed: list[Line] = [[(line, "strong")] for said in decided_by for line in wrap(said, width)]
        lines += (
            signed if len(signed) <= room else [*signed[: room - 1], [("… all readings: ", "quiet"), ("F12", "key")]]
        )
        if lines:
            lines.append([])
            room = max(5, room - len(lines))
        if new.prompt.kind == "choice":
            lines += choice_lines(new.prompt.choices, self._picked, width, room)
        elif new.checks:
            lines += check_lines(new.checks, width, room)
        elif new.prompt.kind == "go-on" and self._panel == "card" and new.step is not None:
            lines += step_lines(last_readings(new, new.step.id), width, room)
        set_height(self.query_one("#ticks"), max(len(lines), len(clock)))
        listed.show(lines)
        typing = presentation.is_typing(new)
        field.display, field.disabled = typing, not typing
        if new.prompt != self._shown_prompt:
            self._shown_prompt = new.prompt
            field.value = ""
            units = "".join((new.prompt.unit, *new.prompt.other_units)) if new.prompt.other_units else ""
            field.restrict = rf"[-+−0-9.,eE {units}]*" if new.prompt.kind == "number" else None
            if typing:
                field.focus()
            else:
                self.set_focus(None)
        self.query_one("#answers").display = typing or bool(lines) or bool(clock)

    def _show_bottom(self, new: Snapshot) -> None:
        last = self.query_one("#last", Lines)
        line = last_line(new, self.size.width) if new.outcome is None else []
        last.display = bool(line)
        last.show([line])
        asked, _ = presentation.shortened_prompt(presentation.key_prompt(new), new.prompt.kind, self.size.width)
        bar = self.query_one(Bar)
        set_height(bar, max(1, len(bar_lines(asked, self.size.width, 3))))
        bar.show(asked)
        self.query_one(Notice).show(*presentation.notice_of(new, self._cause))
        shown = presentation.footer_of(new, trainee=self.trainee, going=self._going)
        self.query_one(Footer).show(shown, typing=presentation.is_typing(new))

    def on_answer_field_ignored(self, message: AnswerField.Ignored) -> None:
        """Report characters that do not belong to a figure."""
        text = f"“{plain(message.sign)}” was ignored: a figure has digits, a sign, and a point or a comma"
        self.query_one(Notice).show(text, "caution")

    def _show_waiting(self) -> None:
        """Show how long the bench thread has been waiting for a slow disk or device."""
        waited_s, was_waiting = time.monotonic() - self._answered_at, self._waiting
        self._waiting = self._snapshot is not None and not self._finished and waited_s >= SLOW_S
        if self._waiting:
            text = f"! no answer for {waited_s:.0f} s: the disk or the sound device is slow; not all may be saved"
            self.query_one(Notice).show(text, "caution")
        elif was_waiting and self._snapshot is not None:
            self.query_one(Notice).show(*presentation.notice_of(self._snapshot))

    async def _end(self, outcome: Outcome) -> None:
        """The run has ended: stop, write the report, show where it is. Keys work meanwhile."""
        self.exit_code = outcome.exit_code
        self._show_ending(outcome, "Closing the session …")
        await self._finish()
        self._show_ending(outcome, self._closing_sentence)
        self._settled = True
        if self._job.debrief and self.is_current:
            from bench.tui.screens.debrief import DebriefDialog

            self.app.push_screen(DebriefDialog(self._job.debrief))

    @property
    def _folder(self) -> Path | None:
        return self._job.folder

    def _show_ending(self, outcome: Outcome, report_text: str) -> None:
        self.query_one("#ending", Lines).show(ending_lines(outcome, report_text, self.size.width))

    def on_resize(self, event: events.Resize) -> None:
        """Redraw what depends on the width."""
        if self._figures is not None and self.display:
            self._show_card(self._figures)
            self._show_gauges_and_tones(self._figures)

    def _go_back(self) -> None:
        """Go back; after a fault, end the program, which repeats the message outside the screen."""
        if self._settled and self._desk is not None and self._desk.fault is not None:
            self.app.end_by(self._desk.fault)  # type: ignore[attr-defined]
        else:
            super()._go_back()

    def _what_is_wrong(self) -> tuple[list[str], say.Command | None]:
        return self._job.diagnosis_page()

    async def _show_cause(self, before: Snapshot, now: Snapshot) -> None:
        """Show the first cause in one line, at moments when it should be shown."""
        with suppress(Problem):
            self._cause = await asyncio.to_thread(self._job.diagnosis_line, before, now)
        if self._snapshot is not None and self._cause and not self._finished and self.display:
            self._show_bottom(self._snapshot)

    def _open_guide(self) -> Guide:
        return self._job.audible_guide()

    def _pick_again(self) -> None:
        if self._snapshot is not None:
            self._show_gauges_and_tones(self._snapshot)

    def _post(self, command: say.Command) -> None:
        if self._desk is not None and not self._finished:
            self._posted += 1
            self._desk.post(command)

    @property
    def settled(self) -> bool:
        """Whether the screen shows the effect of every command."""
        seen = self._snapshot
        return seen is None or self._finished or seen.outcome is not None or seen.obeyed >= self._posted
