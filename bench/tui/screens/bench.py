"""The bench screen: shows snapshots, and turns keys into commands. It knows nothing of sound or procedure."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from typing import Protocol

from textual import events
from textual.app import ComposeResult
from textual.containers import Container, Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Input

from bench.problem import Problem
from bench.procedure import commands as say
from bench.procedure.snapshot import Outcome, Prompt, Snapshot
from bench.tui import faces, verbs
from bench.tui.messages import Seen
from bench.tui.screens.sheets import AskWords, Confirm, Keys, WholeCard
from bench.tui.text import plain
from bench.tui.widgets.bottom import Bar, Footer, Notice, bar_lines
from bench.tui.widgets.card import Card, card_height, parts_of
from bench.tui.widgets.ending import ending_lines
from bench.tui.widgets.gauge import GaugeColumn
from bench.tui.widgets.header import JobStrip, SoundStrip, TitleStrip, sound_trouble
from bench.tui.widgets.lists import Lines, check_lines, choice_lines, timer_lines, trimmer_line
from bench.tui.widgets.painted import Line, fix_height
from bench.tui.widgets.tones import ToneBoard

LEAST_ROWS = {"gauges": 10, "tones": 8}
"""What the faces that share their room with the card need at least."""

FIGURES_EVERY_S = 0.13
"""Figures change no faster than can be read (7 to 8 times a second); bars follow every snapshot."""


class Desk(Protocol):
    """What the screen needs of a bench thread."""

    fault: BaseException | None

    def start(self) -> None:
        """Begin; raises `Problem` when the port can't be opened."""

    def post(self, command: say.Command) -> None:
        """Tell it something."""

    def stop(self) -> None:
        """End it and wait until it has ended."""


class Sitting(Protocol):
    """A job on the bench, from the first step to the saved session."""

    def open(self, on_snapshot: Callable[[Snapshot], None]) -> Desk:
        """Make session, port and bench thread; raises `Problem`. May take a second or two."""

    def close(self, outcome: Outcome | None) -> str:
        """Finish what was written; returns what to say about it: where the report is."""


class BenchScreen(Screen[str]):
    """The bench. Dismissed with a sentence for the chooser, "" when there is nothing to say."""

    AUTO_FOCUS = ""
    BINDINGS = verbs.bindings(verbs.BENCH)
    can_do = verbs.BENCH

    def __init__(self, sitting: Sitting) -> None:
        super().__init__()
        self._sitting = sitting
        self._desk: Desk | None = None
        self._newest: Snapshot | None = None
        self._told = False
        self._seen: Snapshot | None = None
        self._figures: Snapshot | None = None
        self._figures_at = 0.0
        self._flush_waits = False
        self._face = ""
        self._picked = 0
        self._asked = Prompt("wait", "")
        self._ended = ""
        self._over = False
        self._settled = False
        self.refusal = ""
        """Why the bench could not be opened, in one sentence."""
        self.exit_code = 1
        """0 when the job was completed and all that is judged is in."""

    # ---------------------------------------------------------------- made and unmade

    def compose(self) -> ComposeResult:
        """All faces of the screen; one shows at a time."""
        yield JobStrip(id="job")
        yield SoundStrip(id="sound")
        yield TitleStrip(id="title")
        with Container(id="work"):
            yield Card(id="card")
            with Horizontal(id="gauges"):
                yield GaugeColumn(id="first")
                yield GaugeColumn(id="second")
            yield ToneBoard(id="tones")
            with Vertical(id="answers"):
                with Horizontal(id="ticks"):
                    yield Lines(id="list")
                    yield Lines(id="timer")
                yield Input(id="answer", compact=True, max_length=2000, disabled=True)
            yield Lines(id="ending")
        yield Lines(id="trimmers")
        yield Bar("go_on", id="prompt")
        yield Notice(id="notice")
        yield Footer(id="footer")

    async def on_mount(self) -> None:
        """Open the bench; the screen is there meanwhile."""
        self.query_one(Notice).show("Getting the bench ready …", "quiet")
        self.run_worker(self._open(), exclusive=True)

    async def _open(self) -> None:
        try:
            self._desk = await asyncio.to_thread(self._sitting.open, self._heard)
            await asyncio.to_thread(self._desk.start)
        except Problem as problem:
            self._over, self.refusal = True, problem.sentence
            await asyncio.to_thread(self._sitting.close, None)
            if self.is_current:
                self.dismiss(self.refusal)

    def on_screen_resume(self) -> None:
        """What lay over the screen is gone: a refusal that came meanwhile can be told."""
        if self.refusal:
            self.dismiss(self.refusal)

    def _heard(self, snapshot: Snapshot) -> None:
        """Called on the bench thread: the newest snapshot lies ready, and at most one message says so."""
        self._newest = snapshot
        if not self._told:
            self._told = True
            self.post_message(Seen())

    async def on_unmount(self) -> None:
        """However the screen goes, the sound stops and the session is closed."""
        await self._finish()

    async def _finish(self) -> None:
        if self._over:
            return
        self._over = True
        if self._desk is not None:
            await asyncio.to_thread(self._desk.stop)
            outcome = self._seen.outcome if self._seen else None
            self._ended = await asyncio.to_thread(self._sitting.close, outcome)

    # ---------------------------------------------------------------- what is seen

    async def on_seen(self) -> None:
        """A snapshot: bars at once, figures when their time has come, another step or verdict at once."""
        self._told = False
        new, old = self._newest, self._figures
        self._seen = new
        if self._desk is not None and self._desk.fault is not None:
            raise self._desk.fault
        if new is None:
            return
        self.query_one(SoundStrip).show(new.sound, new.sending, figures=False)
        now = time.monotonic()
        if old is None or faces.shape_of(new) != faces.shape_of(old) or now - self._figures_at >= FIGURES_EVERY_S:
            await self._show(new, now)
        elif not self._flush_waits:
            self._flush_waits = True
            self.set_timer(FIGURES_EVERY_S - (now - self._figures_at), self._flush)

    async def _flush(self) -> None:
        self._flush_waits = False
        if self._seen is not None and self._seen is not self._figures:
            await self._show(self._seen, time.monotonic())

    async def _show(self, new: Snapshot, now: float) -> None:
        old, self._figures, self._figures_at = self._figures, new, now
        if old is None or faces.place_of(old) != faces.place_of(new):
            self._picked = 0
        if old is not None and new.last != old.last and new.last and self.app.bell_on:  # type: ignore[attr-defined]
            self.app.bell()
        with self.app.batch_update():
            self._turn_to(faces.face_of(new))
            self.query_one(SoundStrip).show(new.sound, new.sending)
            self.query_one(JobStrip).show(new.job)
            self.query_one(TitleStrip).show(new.step)
            self._show_card(new)
            self._show_face(new)
            self._show_bottom(new)
        if new.outcome is not None and not self._over:
            self.run_worker(self._end(new.outcome))

    def _turn_to(self, face: str) -> None:
        if face != self._face:
            self.remove_class(f"face-{self._face}")
            self.add_class(f"face-{face}")
            self._face = face

    def _show_card(self, new: Snapshot) -> None:
        """The card: all of it beside or above what is asked; above a gauge or a list as much as there is room for."""
        wide, card = self.has_class("-wide"), self.query_one(Card)
        card.show(new.step, whole=wide)
        least = LEAST_ROWS.get(self._face)
        if new.step is None or wide or least is None:
            card.styles.height = None
            return
        work = self.query_one("#work").size.height - self.has_class("-tall")
        fix_height(card, card_height(parts_of(new.step), self.size.width, max(3, work - least - 4), work - least))

    def _show_face(self, new: Snapshot) -> None:
        trouble = sound_trouble(new.sound)
        first, second = self.query_one("#first", GaugeColumn), self.query_one("#second", GaugeColumn)
        second.display = len(new.gauges) > 1
        if new.gauges:
            first.show(new.gauges[0], trouble, new.gauges[2::2])
            second.show(new.gauges[1] if len(new.gauges) > 1 else None, trouble, new.gauges[3::2])
        self.query_one(ToneBoard).show(new.tones)
        strip = self.query_one("#trimmers", Lines)
        strip.display = bool(new.trimmers)
        strip.show([trimmer_line(new.trimmers, self._picked, self.size.width)])
        self._show_answers(new)

    def _show_answers(self, new: Snapshot) -> None:
        timer, listed, field = self.query_one("#timer", Lines), self.query_one("#list", Lines), self.query_one(Input)
        clock = timer_lines(new.timer_left_s) if new.timer_left_s is not None else []
        timer.display = bool(clock)
        timer.show(clock)
        lines: list[Line] = []
        width, room = listed.size.width or self.size.width, max(5, self.size.height - 16)
        if new.prompt.kind == "choice":
            lines = choice_lines(new.prompt.choices, self._picked, width, room)
        elif new.checks:
            lines = check_lines(new.checks, width, room)
        fix_height(self.query_one("#ticks"), max(len(lines), len(clock)))
        listed.show(lines)
        typing = faces.is_typing(new)
        field.display, field.disabled = typing, not typing
        if new.prompt != self._asked:
            self._asked = new.prompt
            field.value = ""
            field.restrict = r"[-+−0-9.,eE ]*" if new.prompt.kind == "number" else None
            if typing:
                field.focus()
            else:
                self.set_focus(None)
        self.query_one("#answers").display = typing or bool(lines) or bool(clock)

    def _show_bottom(self, new: Snapshot) -> None:
        asked, bar = faces.asked_by(new), self.query_one(Bar)
        fix_height(bar, max(1, len(bar_lines(asked, self.size.width, 3))))
        bar.show(asked)
        notice = self.query_one(Notice)
        if new.unsaved:
            notice.show("! " + new.unsaved, "caution")
        else:
            notice.show(new.notice)
        self.query_one(Footer).show(faces.footer_of(new), typing=faces.is_typing(new))

    async def _end(self, outcome: Outcome) -> None:
        """The run is over: stop all, write the report, say where it is. Keys work meanwhile."""
        self.exit_code = outcome.exit_code
        self._show_ending(outcome, "Writing the report …")
        await self._finish()
        self._show_ending(outcome, self._ended)
        self._settled = True

    def _show_ending(self, outcome: Outcome, kept: str) -> None:
        self.query_one("#ending", Lines).show(ending_lines(outcome, kept, self.size.width))

    # ---------------------------------------------------------------- what is done

    def _post(self, command: say.Command) -> None:
        if self._desk is not None and not self._over:
            self._desk.post(command)

    @property
    def _ended_run(self) -> bool:
        return self._seen is not None and self._seen.outcome is not None

    def _go_back(self) -> None:
        if self._settled:
            self.dismiss("")

    @property
    def _prompt(self) -> Prompt:
        return self._seen.prompt if self._seen else Prompt("wait", "")

    def on_resize(self, event: events.Resize) -> None:
        """Lines that were drawn for another width are drawn again."""
        if self._figures is not None:
            self._show_card(self._figures)
            self._show_face(self._figures)

    def action_go_on(self) -> None:
        """The one key."""
        if self._ended_run:
            self._go_back()
        elif self._prompt.kind == "choice" and self._prompt.choices:
            self._post(say.Answer(self._prompt.choices[self._picked]))
        elif self._prompt.kind == "reason":
            self.action_accept()
        else:
            self._post(say.GoOn())

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """What was typed is the answer."""
        event.stop()
        self._post(say.Answer(plain(event.value).replace("−", "-").strip()))

    def on_key(self, event: events.Key) -> None:
        """Digits tick, choose, or pick a trimmer."""
        seen = self._seen
        if seen is None or not event.character or event.character not in "123456789":
            return
        n = int(event.character) - 1
        if self._prompt.kind == "choice" and n < len(self._prompt.choices):
            self._post(say.Answer(self._prompt.choices[n]))
        elif seen.trimmers and n < len(seen.trimmers):
            self._picked = n
            self._show_face(seen)
        elif n < len(seen.checks):
            self._post(say.Tick(n))

    def action_turn(self, degrees: int) -> None:
        """Turn the picked trimmer, or go through choices."""
        seen = self._seen
        if seen is None:
            return
        if self._prompt.kind == "choice":
            step = -1 if degrees in (10, -2) else 1
            self._picked = max(0, min(len(self._prompt.choices) - 1, self._picked + step))
            self._show_face(seen)
        elif seen.trimmers:
            trimmer = seen.trimmers[min(self._picked, len(seen.trimmers) - 1)]
            self._post(say.Turn(trimmer.name, float(degrees)))

    def action_accept(self) -> None:
        """Keep what is not in, with a reason."""
        seen = self._seen
        if seen is None or seen.outcome is not None:
            return
        question = self._prompt.text if self._prompt.kind == "reason" else "Why is it kept although it is not in?"
        self._ask(question, "keeps it", say.Accept)

    def action_skip(self) -> None:
        """Leave the step out, with a reason."""
        self._ask("Why is this step left out?", "leaves it out", say.Skip)

    def action_note(self) -> None:
        """Write into the report."""
        self._ask("Note for the report", "keeps the note", say.Note)

    def _ask(self, question: str, then: str, made: Callable[[str], say.Command]) -> None:
        if self._seen is None or self._seen.outcome is not None:
            return

        def done(text: str | None) -> None:
            if text:
                self._post(made(text))

        self.app.push_screen(AskWords(question, then), done)

    def action_again(self) -> None:
        """Repeat the step."""
        self._post(say.Repeat())

    def action_stop_sound(self) -> None:
        """Stop all sound."""
        self._post(say.StopSound())

    def action_why(self) -> None:
        """The whole card."""
        if self._seen is not None and self._seen.step is not None:
            self.app.push_screen(WholeCard(self._seen.step))

    def action_help(self) -> None:
        """Every key."""
        self.app.push_screen(Keys(self.can_do))

    def action_leave(self) -> None:
        """Break off, when that is meant."""
        if self._ended_run:
            self._go_back()
            return

        def done(text: str | None) -> None:
            if text:
                self._post(say.Leave())

        self.app.push_screen(
            Confirm("Leave this job? What was kept is kept; it can be resumed.", "leave", "stay"), done
        )
