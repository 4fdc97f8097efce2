"""The chooser: arrows put a job together, one key starts it. The previous choices are preselected."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from textual import events
from textual.app import ComposeResult, SuspendNotSupported
from textual.screen import Screen

from bench.problem import Problem
from bench.run_request import RunRequest
from bench.tui import actions
from bench.tui.choices import (
    A_FILE,
    ABOUT,
    AN_EXERCISE,
    AS_LEFT,
    FIRST_START,
    NEW_JOB,
    READING,
    TRAINEE,
    Option,
    Row,
    file_option,
    fitted,
    following,
    last_on_practice_machine,
    live_options,
    option_key,
    rows_of,
    shortened_path,
    what_starts,
)
from bench.tui.editing import check_file, copy_to_own, editor, file_behind, run_editor
from bench.tui.exercises import YOUR_NAME, YOUR_NAME_AND_NUMBER, exercise_of, name_and_number, new_exercise
from bench.tui.preferences import Preferences
from bench.tui.screens.dialogs import AskText, HelpDialog
from bench.tui.widgets.choice_lists import Lines
from bench.tui.widgets.footer import Bar, Footer, Notice
from bench.tui.widgets.job_form import Choices, JobForm
from bench.tui.widgets.line_widget import ROLE_CLASSES, heading_line, justified
from bench.words.sentences import counted
from bench.workspace import Workspace

if TYPE_CHECKING:
    from bench.tui.running_job import RunningJob


class ChooserScreen(Screen[str]):
    """Chooses procedure, machine, tapes and where sound comes from."""

    AUTO_FOCUS = ""
    COMPONENT_CLASSES = ROLE_CLASSES
    BINDINGS = actions.bindings(actions.CHOOSER)
    key_actions = actions.CHOOSER

    def __init__(self, workspace: Workspace, preferences: Preferences) -> None:
        super().__init__()
        self._workspace = workspace
        self._preferences = preferences
        self._rows: list[Row] = []
        self._at = 0
        self._notice = ""
        self._live: tuple[Option, ...] | None = None

    def compose(self) -> ComposeResult:
        """Name, job, choices, and footer."""
        yield Lines(id="name")
        yield JobForm(id="job-form")
        yield Lines(id="heading")
        yield Choices(id="choices")
        yield Bar("start", id="prompt")
        yield Notice(id="notice")
        yield Footer(id="footer")

    def on_mount(self) -> None:
        """Draw the frame first; read the choices after it."""
        self._footer()
        self.query_one(Notice).show(READING, "quiet")
        self.call_after_refresh(self.action_look_again)

    def on_resize(self, event: events.Resize) -> None:
        """Redraw for the new width."""
        where = [(shortened_path(self._workspace), "quiet")]
        self.query_one("#name", Lines).show([justified([("Tapebench", "strong")], where, self.size.width)])
        self._show()

    # ---------------------------------------------------------------- reading

    def action_look_again(self) -> None:
        """Read everything again."""
        self.run_worker(self._look(), exclusive=True)

    async def _look(self, wanted: dict[str, str] | None = None) -> None:
        first = not self._rows
        chosen = self._preferences.load() if first else self._chosen()
        if first and not chosen:
            self._notice = FIRST_START
        chosen |= wanted or {}
        rows = await asyncio.to_thread(rows_of, self._workspace)
        self._rows = [self._with_live(row.pick(chosen.get(row.id, ""))) for row in rows]
        self._at = 0 if first else min(self._at, len(self._rows) - 1)
        if first:
            self._rows, changed = fitted(self._rows, chosen)
            self._notice = changed or self._notice
        self._show()
        self._live = await asyncio.to_thread(live_options)
        self._rows = [self._with_live(row, chosen.get("port", "") if first else "") for row in self._rows]
        self._show()

    def _chosen(self) -> dict[str, str]:
        return {r.id: r.option.key for r in self._rows if r.option and r.id != "session"}

    def _with_live(self, row: Row, wanted: str = "") -> Row:
        """Add the sound devices to the ports; a device wanted before it was listed is selected now."""
        if row.id != "port" or self._live is None:
            return row
        others = [o for o in row.options if not o.key.startswith("live")]
        chosen = row.option.key if row.option else ""
        untouched = row.picked == 0 and wanted.startswith("live")
        return Row(row.id, row.title, (others[0], *self._live, *others[1:])).pick(wanted if untouched else chosen)

    def _row(self, id_: str) -> Row | None:
        return next((r for r in self._rows if r.id == id_), None)

    # ---------------------------------------------------------------- showing

    def _show(self) -> None:
        if not self._rows or not self.display:  # left while the sound devices were still being listed
            return
        row = self._rows[self._at]
        ticket = self.query_one(JobForm)
        ticket.styles.height = len(self._rows)
        ticket.show(self._rows, self._at, resuming=self._resumed() is not None)
        position = f"{row.picked + 1} of {len(row.options)}" if row.options else ""
        self.query_one("#heading", Lines).show([heading_line(row.title, position, self.size.width)])
        self.query_one(Choices).show(row)
        self.query_one(Bar).show(("enter", self._what_enter_does(), False))
        self.query_one(Notice).show(self._notice, "accent" if self._notice == FIRST_START else "caution")

    def _what_enter_does(self) -> str:
        if (session := self._resumed()) is not None:
            return f"Go on with {session.name}"
        return what_starts([r.option for r in (self._row("procedure"), self._row("port")) if r and r.option])

    def _resumed(self) -> Option | None:
        """The session that enter would resume."""
        row = self._rows[self._at] if self._rows else None
        if row is None or row.id != "session" or row.option is None or row.option.key == NEW_JOB:
            return None
        return row.option

    def _footer(self) -> None:
        of = actions.find
        out = [
            (of(actions.CHOOSER, "line(-1)"), "↓ line"),
            (of(actions.CHOOSER, "choose(-1)"), "→ choose"),
            (of(actions.CHOOSER, "edit"), "edit"),
            (of(actions.CHOOSER, "records"), "sessions"),
            (of(actions.CHOOSER, "leave"), "leave"),
            (actions.HELP, "help"),
        ]
        self.query_one(Footer).show(tuple(out))

    def say(self, sentence: str) -> None:
        """Show a sentence as the notice."""
        self._notice = sentence
        self._show()

    # ---------------------------------------------------------------- choosing

    def action_line(self, step: int) -> None:
        """Move to another line."""
        if self._rows:
            self._at = (self._at + step) % len(self._rows)
            self.say("")

    def action_choose(self, step: int) -> None:
        """Select another option on this line."""
        if self._rows:
            row = self._rows[self._at].move(step)
            self._rows[self._at] = row
            self._rows = following(self._rows, row.id)
            self.say("")

    def on_click(self, event: events.Click) -> None:
        """Select the line or the option that was clicked."""
        if isinstance(event.widget, JobForm) and event.y < len(self._rows):
            self._at = event.y
            self.say("")
        elif isinstance(event.widget, Choices) and self._rows:
            row = self._rows[self._at]
            height = event.widget.size.height
            first = max(0, min(row.picked - height // 2, len(row.options) - height))
            if first + event.y < len(row.options):
                self.action_choose(first + event.y - row.picked)

    def action_file(self) -> None:
        """Ask for a captured file."""

        def done(path: str | None) -> None:
            row = self._row("port")
            if path and row is not None:
                option = file_option(path)
                others = tuple(o for o in row.options if not o.name.startswith("file: "))
                new = Row(row.id, row.title, (*others, option)).pick(option.key)
                self._rows = [new if r.id == "port" else r for r in self._rows]
                self._at = self._rows.index(new)
                self.say("")

        self.app.push_screen(AskText("Which file? Its path:", "chooses it"), done)

    # ---------------------------------------------------------------- files

    def _here(self) -> tuple[str, Path] | None:
        """The line and the file behind its option; shows why if there is none."""
        row = self._rows[self._at] if self._rows else None
        if row is None or row.option is None:
            return None
        try:
            return row.id, file_behind(self._workspace, row.id, row.option.key)
        except Problem as problem:
            self.say(problem.sentence)
            return None

    def action_edit(self) -> None:
        """Open the file of this line in the person's own editor, or in the built-in one."""
        here = self._here()
        if here is not None:
            self._edit(*here)

    def _edit(self, row: str, path: Path) -> None:
        command = editor()
        if command is not None:
            try:
                with self.app.suspend():
                    trouble = run_editor(command, path)
            except SuspendNotSupported:
                trouble = ""
            else:
                self.app.refresh()
                self._edited(row, path, trouble)
                return
        self._edit_here(row, path)

    def _edit_here(self, row: str, path: Path) -> None:
        from bench.tui.screens.editing import EditScreen

        try:
            screen = EditScreen(path, self._workspace)
        except Problem as problem:
            self.say(problem.sentence)
            return
        self.app.push_screen(screen, lambda _: self._edited(row, path))

    def _edited(self, row: str, path: Path, trouble: str = "") -> None:
        """After editing: read the list again, and show the file's problems with their lines."""
        problems = [] if trouble else check_file(path, self._workspace)
        self.say(trouble or (f"{path.name}: {counted(len(problems), 'problem')}" if problems else ""))
        self.run_worker(self._look({row: option_key(row, path)}), exclusive=True)
        if not problems:
            return
        from bench.tui.screens.pages import PagesScreen

        lines = [f"{len(problems)} in {path}", ""]
        for one in problems:
            at = f"line {one.line}" if one.line is not None else "the file"
            lines += [f"{at}: {one.key}" if one.key else at, f"    {one.message}; {one.remedy}", ""]
        self.app.push_screen(PagesScreen(f"Problems of {path.name}", lines))

    def action_copy(self) -> None:
        """Copy this line's file and select the copy."""
        here = self._here()
        if here is None:
            return
        try:
            copy = copy_to_own(here[1])
        except Problem as problem:
            self.say(problem.sentence)
            return
        self.say(f"Copied to {copy.name}; e edits it.")
        self.run_worker(self._look({here[0]: option_key(here[0], copy)}), exclusive=True)

    def action_new_exercise(self) -> None:
        """Write an exercise on this job and edit it; it is checked afterwards, and chosen."""
        try:
            self._edit("port", new_exercise(self._workspace, self._chosen()))
        except Problem as problem:
            self.say(problem.sentence)

    def action_type_in_tape(self) -> None:
        """Type in a reference tape and select it."""
        from bench.tui.screens.type_in_tape import TypeInTape

        folder = self._workspace.sheets / "reference-tapes"
        TypeInTape(self.app, folder, lambda path: self._edited("reference-tape", path), self.say).ask()

    def action_records(self) -> None:
        """Open the list of sessions."""
        from bench.tui.screens.records import RecordsScreen

        self.app.push_screen(RecordsScreen(self._workspace))

    # ---------------------------------------------------------------- starting

    def action_start(self) -> None:
        """Start the job, or resume the session."""
        if not self._rows:
            self.query_one(Notice).show(f"{READING} Press enter again when they are listed.", "caution")
            return
        session = self._resumed()
        chosen = [session] if session else [r.option for r in self._rows if r.id != "session"]
        for option, row in zip(chosen, [r for r in self._rows if r.id != "session"], strict=False):
            if option is None:
                self.say(f"There is no {row.title} in {self._workspace.procedures}: put one there.")
                return
            if option.broken:
                self.say(option.broken)
                return
        if session is None and self._key("port") == A_FILE:
            self.action_file()
            return
        if session is None:
            self._preferences.save(self._chosen())
        if session is None and self._key("port").startswith(AN_EXERCISE):
            self._ask_exercise()
            return
        self._begin(session)

    def _ask_exercise(self) -> None:
        """Ask for the trainee's name and the number of the exercise, in one line."""
        prepared = self._key("port") != AN_EXERCISE

        def done(typed: str | None) -> None:
            if typed:
                self._begin(None, *((typed, 1) if prepared else name_and_number(typed)))

        self.app.push_screen(AskText(YOUR_NAME if prepared else YOUR_NAME_AND_NUMBER, "begins"), done)

    def _key(self, id_: str) -> str:
        row = self._row(id_)
        return row.option.key if row and row.option else ""

    def _running_job(self, session: Option | None, trainee: str, number: int) -> RunningJob:
        from bench.tui.running_job import RunningJob

        learning = self._key("who") == TRAINEE
        if session is not None:
            return RunningJob(self._workspace, Path(session.key), learning=learning)
        names = ("procedure", "machine", "tape", "reference-tape", "port")
        procedure, machine, tape, reference_tape, port = (self._key(k) for k in names)
        request = RunRequest(procedure, machine or None, tape or None, reference_tape or None, port=port)
        if port.startswith(AN_EXERCISE):
            exercise = exercise_of(self._workspace, self._chosen(), number)
            request = replace(request, port="practice", exercise=exercise, trainee=trainee)
        if port == AS_LEFT:
            folder, seed = last_on_practice_machine(self._workspace, machine)
            request = replace(request, port="practice", after=folder, seed=seed)
        return RunningJob(self._workspace, request, learning=learning)

    def _begin(self, session: Option | None, trainee: str = "", number: int = 1) -> None:
        """Open the bench on the job, or show why it can't be opened."""
        from bench.tui.screens.bench import BenchScreen

        try:
            job = self._running_job(session, trainee, number)
        except Problem as problem:
            self.say(problem.sentence)
            return

        def done(sentence: str | None) -> None:
            self.say(sentence or "")
            self.action_look_again()

        self.app.push_screen(BenchScreen(job), done)

    # ---------------------------------------------------------------- the rest

    def action_stop_sound(self) -> None:
        """This screen makes no sound."""
        self.say("No sound is being sent.")

    def action_help(self) -> None:
        """Help on this line, and all keys."""
        row = self._rows[self._at].id if self._rows else ""
        self.app.push_screen(HelpDialog(self.key_actions, tuple(t for t in (ABOUT[""], ABOUT.get(row, "")) if t)))

    def action_leave(self) -> None:
        """Leave the program."""
        self.dismiss("")
