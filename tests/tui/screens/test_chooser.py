from __future__ import annotations

import asyncio
import shutil
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile
from textual.pilot import Pilot

from bench.clock import RehearsalClock
from bench.open_run import open_run
from bench.problem import Problem
from bench.procedure.load.reader import load_sheet
from bench.run_request import RunRequest
from bench.tui.app import BenchApp
from bench.tui.choices import WHO, Option, Row, file_option, last_on_practice_machine, live_options, rows_of
from bench.tui.preferences import Preferences
from bench.tui.screens.bench import BenchScreen
from bench.tui.screens.chooser import ChooserScreen
from bench.tui.screens.dialogs import CardDialog
from bench.tui.widgets.footer import Footer
from bench.tui.widgets.job_form import choices_lines, job_form_lines
from bench.workspace import Workspace, shipped_procedures
from tests.tui import samples
from tests.tui.screen_driver import check_golden, says, screen_text, texts, until


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    """A workspace with the shipped procedures, seen under a short name."""
    root = tmp_path / "bench"
    shutil.copytree(shipped_procedures(), root / "procedures")
    return Workspace(root)


def chooser(workspace: Workspace, tmp_path: Path) -> tuple[BenchApp, ChooserScreen]:
    screen = ChooserScreen(workspace, Preferences(tmp_path / "state" / "chooser.json"))
    return BenchApp(screen), screen


async def ready(pilot: Pilot[int]) -> str:
    """Wait until procedures and sound devices were read."""
    text = await says(pilot, "enter  ")
    screen = pilot.app.screen
    assert isinstance(screen, ChooserScreen)
    await until(pilot, lambda: screen._live is not None)
    await pilot.pause()
    return text


def option(key: str, name: str = "", **more: str) -> Option:
    return Option(key, name or key, **more)  # type: ignore[arg-type]


def test_rows_choose_round_the_end_and_by_key() -> None:
    row = Row("tape", "tape in use", (option("a"), option("b"), option("c")))
    assert row.move(-1).option == option("c")
    assert row.move(4).option == option("b")
    assert row.pick("c").option == option("c")
    assert row.pick("gone").option == option("a")
    assert Row("tape", "tape in use", ()).move(1).option is None


def test_the_job_as_it_stands() -> None:
    rows = [
        Row("procedure", "procedure", (option("p", "Clean", tail="10 min"), option("q"))),
        Row("machine", "machine", (option("m", "Deck", broken="it is bent"),)),
    ]
    assert texts(job_form_lines(rows, 0, 60)) == [
        "▸ procedure       ◂ Clean ▸                           10 min",
        "  machine           Deck  ✗ cannot be used",
    ]


def test_a_broken_choice_says_why() -> None:
    row = Row("machine", "machine", (option("m", "Deck", broken="line 3: a key is missing"), option("n", "Other")))
    lines = texts(choices_lines(row, 78, 6))
    assert lines[0].startswith("✗ Deck")
    assert "Cannot be used: line 3: a key is" in lines[0]
    assert lines[1].startswith("  Other")


def test_what_was_chosen_is_remembered_and_rubbish_is_not(tmp_path: Path) -> None:
    preferences = Preferences(tmp_path / "deep" / "chooser.json")
    assert preferences.load() == {}
    preferences.save({"procedure": "clean"})
    preferences.save({"port": "live"})
    assert preferences.load() == {"procedure": "clean", "port": "live"}
    (tmp_path / "deep" / "chooser.json").write_text('{"procedure": 3, "tape": "x"')
    assert preferences.load() == {}
    (tmp_path / "deep" / "chooser.json").write_text('{"procedure": 3, "tape": "x"}')
    assert preferences.load() == {"tape": "x"}
    (tmp_path / "deep" / "chooser.json").write_text("[1]")
    assert preferences.load() == {}


def test_a_memory_that_cannot_be_written_is_no_trouble(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    Preferences(tmp_path / "file" / "chooser.json").save({"port": "live"})


def test_a_whole_line_up_stands_first_and_broken_ones_last(workspace: Workspace) -> None:
    (workspace.procedures / "broken.toml").write_text("format = 1\ntitle = 3\n")
    rows = {row.id: row for row in rows_of(workspace)}
    names = [o.key for o in rows["procedure"].options]
    assert names[0] == "cassette-three-head"
    assert names[-1] == "broken"
    assert "broken.toml" in rows["procedure"].options[-1].broken
    first = rows["procedure"].options[0]
    assert first.tail
    assert any(text.startswith("Needs: ") for text in first.about)
    assert [o.key for o in rows["port"].options] == ["practice", "as-left", "exercise", "exercise:a-dull-deck", "file"]
    assert "session" not in rows


def test_a_procedure_that_asks_for_what_is_not_there_is_broken(workspace: Workspace) -> None:
    path = workspace.procedures / "clean.toml"
    path.write_text(path.read_text().replace("format = 1", 'format = 1\nmachine = "nowhere"', 1))
    broken = next(o for o in rows_of(workspace)[0].options if o.key == "clean")
    assert 'no machine sheet "nowhere"' in broken.broken


def test_sound_devices_or_the_reason_why_there_are_none() -> None:
    options = live_options()
    assert options
    assert options[0].key == "live"
    if len(options) == 1:
        assert options[0].broken.endswith(("needs none", "try again"))


def test_a_file_is_named_by_its_name() -> None:
    assert file_option("/captures/side one.wav").name == "file: side one.wav"


async def test_first_start_offers_the_practice_machine_by_one_key(workspace: Workspace, tmp_path: Path) -> None:
    app, _ = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        text = await ready(pilot)
        assert "enter  Start: Line-up of a three-head cassette deck · practice machine" in text
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await says(pilot, "step 1 of")
        await pilot.press("f10", "y")
        await says(pilot, "Not finished.")
        await until(pilot, lambda: "report.html" in screen_text(app), "the report")
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, ChooserScreen))


async def test_arrows_choose_and_the_last_choice_stands_at_the_next_start(workspace: Workspace, tmp_path: Path) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        machine = screen._row("machine")
        assert machine is not None
        await pilot.press("down", "right")
        second = machine.options[1]
        await says(pilot, f"▸ machine         ◂ {second.name[:30]}")
        await pilot.press("down", "right")
        assert screen._key("machine") == second.key
        chosen = {r.id: r.option.key for r in screen._rows if r.option}
        await pilot.press("enter")
        await until(pilot, screen._preferences.load)
    again, other = chooser(workspace, tmp_path)
    async with again.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        assert {r.id: r.option.key for r in other._rows if r.option and r.id != "session"} == chosen


async def test_choices_of_last_time_that_are_missing_or_do_not_fit_are_named(
    workspace: Workspace, tmp_path: Path
) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        first = screen._chosen()
        machines = screen._row("machine")
        assert machines is not None
        other = next(o for o in machines.options if o.goes_with and first["tape"] not in o.goes_with["tape"])
    screen._preferences.save(first | {"machine": other.key})
    again, other_screen = chooser(workspace, tmp_path)
    async with again.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        assert other_screen._key("machine") == other.key
        assert other_screen._key("tape") in other.goes_with["tape"]
        await says(pilot, "Missing or does not fit any more, so another is chosen: tape in use")
    screen._preferences.save(first | {"machine": "sold"})
    again, other_screen = chooser(workspace, tmp_path)
    async with again.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        assert other_screen._chosen() == first
        await says(pilot, "Missing or does not fit any more, so another is chosen: machine.")


async def test_a_machine_brings_a_tape_that_it_takes_and_a_reference_tape_of_its_speed(
    workspace: Workspace, tmp_path: Path
) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("down")
        row = screen._row("machine")
        assert row is not None
        for _ in row.options:
            await pilot.press("right")
            machine = load_sheet(workspace.sheets / "machines" / f"{screen._key('machine')}.toml", "machine")
            name = screen._key("reference-tape")
            tape = load_sheet(workspace.sheets / "reference-tapes" / f"{name}.toml", "reference-tape")
            assert tape.speed_mm_s == machine.speed_mm_s
            in_use = load_sheet(workspace.sheets / "tapes" / f"{screen._key('tape')}.toml", "tape")
            assert (in_use.iec_type == "open reel") == ("cassette" not in str(machine.track_format))


async def test_a_reference_tape_that_serves_the_next_job_too_stays_chosen(workspace: Workspace, tmp_path: Path) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("down", "down", "down")
        while screen._key("reference-tape") != "workshop-set":
            await pilot.press("right")
        await pilot.press("up", "up", "up")
        while screen._key("procedure") != "cassette-two-head":
            await pilot.press("right")
        assert (screen._key("machine"), screen._key("reference-tape")) == ("two-head-cassette", "workshop-set")


async def test_sheets_that_do_not_go_together_are_refused_in_a_sentence(workspace: Workspace, tmp_path: Path) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        wanted = {"machine": "open-reel-190-nab", "reference-tape": "cassette-reference"}
        screen._rows = [row.pick(wanted.get(row.id, "")) for row in screen._rows]
        await pilot.press("enter")
        await until(pilot, lambda: screen._notice)
        assert "1⅞ ips" in screen._notice
        assert not list(workspace.sessions.glob("*"))


async def test_first_start_says_that_enter_is_enough_and_a_key_takes_it_away(
    workspace: Workspace, tmp_path: Path
) -> None:
    app, _ = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        text = await ready(pilot)
        assert "First time? Enter starts on the practice machine" in text
        await pilot.press("down")
        await until(pilot, lambda: "First time?" not in screen_text(app))


async def test_an_exercise_asks_whose_and_which_and_is_a_trainees(workspace: Workspace, tmp_path: Path) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        screen._rows = [
            row.pick({"procedure": "quick-check", "port": "exercise"}.get(row.id, "")) for row in screen._rows
        ]
        await pilot.press("enter")
        await says(pilot, "Exercise: your name and its number")
        await pilot.press(*"Ada", "space", "7", "enter")
        await until(pilot, lambda: isinstance(app.screen, CardDialog) or "why  " in screen_text(app), "why is open")
        (folder,) = workspace.sessions.iterdir()
        kept = (folder / "session.toml").read_text()
        assert 'trainee = "Ada"' in kept
        assert "seed = 7" in kept
        await pilot.press("escape", "f10", "y")
        await until(pilot, lambda: "report.html" in screen_text(app), "the report")


def test_who_learns_is_chosen_and_remembered_as_any_choice() -> None:
    row = Row("who", "you are", WHO)
    assert row.option is not None
    assert row.option.key == "technician"
    assert row.pick("trainee").option == WHO[1]


async def test_sessions_open_from_the_chooser(workspace: Workspace, tmp_path: Path) -> None:
    app, _ = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("v")
        await says(pilot, "There are no sessions yet")
        await pilot.press("q")
        await until(pilot, lambda: isinstance(app.screen, ChooserScreen))


async def test_help_says_what_the_line_is(workspace: Workspace, tmp_path: Path) -> None:
    app, _ = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("down", "f1")
        await says(pilot, "The sheet of the machine on the bench")


async def test_a_broken_choice_is_not_started(workspace: Workspace, tmp_path: Path) -> None:
    (workspace.procedures / "broken.toml").write_text("format = 1\ntitle = 3\n")
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("left")
        await says(pilot, "Cannot be used:")
        await pilot.press("enter")
        await pilot.pause(0.1)
        assert isinstance(app.screen, ChooserScreen)
        assert screen._notice.startswith(str(workspace.procedures / "broken.toml"))


async def test_enter_before_the_list_is_read_says_so(workspace: Workspace, tmp_path: Path) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        screen._rows = []  # as before the procedures are read
        screen.action_start()
        await says(pilot, "Press enter again when they are listed.")
        assert isinstance(app.screen, ChooserScreen)


async def test_an_exercise_broken_before_its_trainee_gives_a_name_is_one_sentence(
    workspace: Workspace, tmp_path: Path
) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        screen._rows = [r.pick("exercise:a-dull-deck") if r.id == "port" else r for r in screen._rows]
        (workspace.sheets / "exercises" / "a-dull-deck.toml").write_text("format = 1\nsheet = 3\n", encoding="utf-8")
        await pilot.press("enter")
        await says(pilot, "your name")
        await pilot.press("A", "d", "a", "enter")
        await until(pilot, lambda: "a-dull-deck.toml" in screen._notice)
        assert isinstance(app.screen, ChooserScreen)
        assert "\n" not in screen._notice


async def test_a_capture_is_chosen_by_its_path(workspace: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "capture.wav"
    soundfile.write(path, np.zeros((48000, 2)), 48000)
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        await pilot.press("f")
        await says(pilot, "Which file?")
        await pilot.press(*("slash" if c == "/" else "full_stop" if c == "." else c for c in str(path)))
        await pilot.press("enter")
        await says(pilot, "file: capture.wav")
        assert screen._key("port") == str(path)


async def test_a_file_that_is_not_there_is_said_and_nothing_is_begun(workspace: Workspace, tmp_path: Path) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        row = screen._row("port")
        assert row is not None
        row = Row(row.id, row.title, (file_option("/nowhere/x.wav"),))
        screen._rows = [row if r.id == "port" else r for r in screen._rows]
        await pilot.press("enter")
        await says(pilot, "/nowhere/x.wav")
        await until(pilot, lambda: isinstance(app.screen, ChooserScreen))
        assert not list(workspace.sessions.glob("*"))


async def test_a_session_broken_off_is_offered_first_and_gone_on_with(workspace: Workspace, tmp_path: Path) -> None:
    app, screen = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(pilot)
        screen._rows = [row.pick("clean") for row in screen._rows]
        await pilot.press("enter")
        await says(pilot, "step 1 of")
        await pilot.press("1", "2", "3", "space")  # each line of the checklist, then on
        await says(pilot, "step 2 of")
        await pilot.press("q", "y")
        await says(pilot, "Broken off")
        await until(pilot, lambda: "report.html" in screen_text(app))
        await pilot.press("space")
        text = await says(pilot, "▸ go on with")
        assert "enter  Go on with " in text
        await pilot.press("enter")
        await says(pilot, "step 2 of")
        await pilot.press("q", "y")
        await until(pilot, lambda: "report.html" in screen_text(app))


async def test_an_empty_workspace_says_what_is_missing(tmp_path: Path) -> None:
    app, _ = chooser(Workspace(tmp_path), tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await says(pilot, "none found")
        await pilot.press("enter")
        await says(pilot, "There is no procedure in")


async def test_leaving(workspace: Workspace, tmp_path: Path) -> None:
    app, _ = chooser(workspace, tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("q")
        await until(pilot, lambda: app.return_value == 0)


async def test_leaving_while_devices_are_still_read_is_no_fault(
    workspace: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_at_last = threading.Event()

    def slow() -> tuple[Option, ...]:
        read_at_last.wait(20)
        return live_options()

    async def goes(_: Footer) -> None:
        read_at_last.set()
        await asyncio.sleep(0.5)  # the other widgets have been removed by then, the screen has not

    monkeypatch.setattr("bench.tui.screens.chooser.live_options", slow)
    monkeypatch.setattr(Footer, "on_unmount", goes, raising=False)
    app, _ = chooser(workspace, tmp_path)
    async with app.run_test() as pilot:
        await says(pilot, "enter  ")
        await pilot.press("q")
    assert read_at_last.is_set()
    assert app.fault is None


@pytest.mark.parametrize("size", [(80, 24), (120, 36)])
@pytest.mark.parametrize("resuming", [False, True])
async def test_the_chooser_as_text(tmp_path: Path, size: tuple[int, int], resuming: bool) -> None:
    app, screen = chooser(Workspace(tmp_path), tmp_path)
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: screen._live is not None)
        screen._rows = samples.offered(resuming=resuming)
        screen._at = 0
        screen.say("")
        await says(pilot, "enter  ")
        text = "\n".join([" Tapebench", *screen_text(app).splitlines()[1:]]) + "\n"
        check_golden(f"chooser{'-resuming' if resuming else ''}-{size[0]}x{size[1]}", text)


def test_the_practice_machine_as_it_was_left_is_that_of_the_last_session(workspace: Workspace) -> None:
    with pytest.raises(Problem, match="no session of this machine yet"):
        last_on_practice_machine(workspace, "two-head-cassette")
    folders = []
    for seed in (4, 5):
        clock = RehearsalClock()
        clock.wait(60.0 * seed)
        run = open_run(workspace, RunRequest("clean", "two-head-cassette", seed=seed), clock, real_time=False)
        run.store.close()
        folders.append(run.store.folder)
    assert last_on_practice_machine(workspace, "two-head-cassette") == (folders[1], 5)
    with pytest.raises(Problem, match="no session of this machine yet"):
        last_on_practice_machine(workspace, "three-head-cassette")
