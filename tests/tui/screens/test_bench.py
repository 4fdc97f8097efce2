from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from textual.strip import Strip
from textual.widgets import Input

from bench.problem import Problem
from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Outcome, Prompt, Snapshot
from bench.tui.actions import BENCH, key_name
from bench.tui.app import BenchApp
from bench.tui.preferences import Preferences
from bench.tui.presentation import footer_of
from bench.tui.screens.bench import FIGURES_EVERY_S, BenchScreen
from bench.tui.screens.dialogs import AskText, CardDialog, Confirm, HelpDialog
from bench.tui.widgets.step_card import Card
from tests.session.made_up import whole
from tests.tui import samples
from tests.tui.screen_driver import ScriptedJob, ScriptedThread, bench_app, says, screen_text, show, until

SIZE = (80, 24)


async def test_adjust_by_keys_alone() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by 0.9 dB")
        await pilot.press("right", "left", "up", "down", "2", "right")
        left, right = "replay level left", "replay level right"
        assert job.desk.posted == [
            say.Turn(left, 2.0),
            say.Turn(left, -2.0),
            say.Turn(left, 10.0),
            say.Turn(left, -10.0),
            say.Turn(right, 2.0),
        ]


@pytest.mark.parametrize("key", ["space", "enter"])
async def test_one_key_goes_on(key: str) -> None:
    app, job = bench_app(samples.cleaning())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Done: go on")
        await pilot.press(key)
        assert job.desk.posted == [say.GoOn()]


async def test_what_is_ready_is_said_behind_its_key_and_what_is_not_is_quiet() -> None:
    wait = Prompt("wait", "Turn until it is in and holds")
    app, job = bench_app(samples.adjusting(-12.9, -12.1, prompt=wait))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "Turn until it is in")
        assert "space" not in text
        assert "a accept as is" in text
        ready = samples.adjusting(-12.0, -12.1, prompt=Prompt("wait", "In, and holding: accept it"))
        text = await show(pilot, job, ready, "In, and holding")
        assert " space  In, and holding: accept it" in text
        assert "accept as is" not in text


async def test_a_long_reply_to_a_wrong_answer_is_whole_on_a_wide_screen() -> None:
    reply = "No. Bias is set much later, and by the tape. Think of what the owner hears today, and of the first step."
    asked = samples.question()
    app, job = bench_app(asked)
    async with app.run_test(size=(160, 45)) as pilot:
        await says(pilot, asked.prompt.choices[0][:20])
        await show(pilot, job, replace(asked, prompt=replace(asked.prompt, text=reply)), "today,")


async def test_a_reading_that_is_out_needs_a_reason() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        await pilot.press("a")
        await until(pilot, lambda: isinstance(app.screen, AskText))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        assert job.desk.posted == []
        await pilot.press("a", *"worn", "space", *"head", "enter")
        await until(pilot, lambda: job.desk.posted)
        assert job.desk.posted == [say.Accept("worn head")]


async def test_keys_work_after_a_sheet_was_closed() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        for sheet, kind in (("w", CardDialog), ("f1", HelpDialog), ("n", AskText), ("q", Confirm)):
            await pilot.press(sheet)
            await until(pilot, partial(lambda kind: isinstance(app.screen, kind), kind), sheet)
            await pilot.press("escape")
            await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        assert app.focused is None
        await pilot.press("right")
        assert job.desk.posted == [say.Turn("replay level left", 2.0)]


@pytest.mark.parametrize(
    ("keys", "made"),
    [
        (("k", *"later", "enter"), say.Skip("later")),
        (("n", *"hums", "enter"), say.Note("hums")),
        (("f4", *"hums", "enter"), say.Note("hums")),
        (("r",), say.Repeat()),
        (("s",), say.StopSound()),
        (("f9",), say.StopSound()),
        (("q", "y"), say.Leave()),
        (("f10", "y"), say.Leave()),
    ],
)
async def test_every_verb_has_its_key(keys: tuple[str, ...], made: say.Command) -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        await pilot.press(*keys)
        await until(pilot, lambda: job.desk.posted)
        assert job.desk.posted == [made]


async def test_staying_posts_nothing() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        await pilot.press("q", "enter")
        assert isinstance(app.screen, Confirm)
        await pilot.press("n")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        assert job.desk.posted == []


async def test_sound_stops_by_one_key_on_every_sheet() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        for sheet in ("w", "f1", "n", "q", "f2"):
            await pilot.press(sheet)
            await until(pilot, lambda: not isinstance(app.screen, BenchScreen), sheet)
            job.desk.posted.clear()
            await pilot.press("f9")
            await until(pilot, lambda: job.desk.posted, sheet)
            assert job.desk.posted == [say.StopSound()]
            await pilot.press("escape")
            await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await pilot.resize_terminal(60, 20)
        await says(pilot, "too small")
        job.desk.posted.clear()
        await pilot.press("s")
        await until(pilot, lambda: job.desk.posted)
        assert job.desk.posted == [say.StopSound()]


async def test_a_checklist_is_ticked_by_digits() -> None:
    app, job = bench_app(samples.cleaning())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "3 □  Capstan")
        await pilot.press("3", "9")
        assert job.desk.posted == [say.Tick(2)]


async def test_a_timer_is_shown_large() -> None:
    app, _ = bench_app(samples.cleaning(65.0))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "The timer runs")
        assert "██    ▄████▄ ▄█████" in text
        assert "5 □  Guides and tape path" in text


async def test_a_number_is_typed_and_letters_are_no_verbs_meanwhile() -> None:
    app, job = bench_app(samples.asking("number"))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "Take-up torque (g·cm)")
        assert "F9 stop sound" in text
        await pilot.press("s", "minus", "4", "2", "full_stop", "5", "enter")
        assert job.desk.posted == [say.Answer("-42.5")]
        await pilot.press("f9")
        assert job.desk.posted[-1] == say.StopSound()


async def test_words_are_typed_with_spaces() -> None:
    app, job = bench_app(samples.asking("words"))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Who accepts")
        await pilot.press(*"A", "space", *"Smith", "enter")
        assert job.desk.posted == [say.Answer("A Smith")]


async def test_what_was_typed_does_not_stay_for_the_next_question() -> None:
    app, job = bench_app(samples.asking("words"))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Who accepts")
        await pilot.press(*"half")
        other = samples.asking("words", prompt=Prompt("words", "What does the owner say?"))
        await show(pilot, job, other, "What does the owner")
        assert app.screen.query_one(Input).value == ""
        assert isinstance(app.focused, Input)
        await show(pilot, job, samples.cleaning(), "Done: go on")
        assert app.focused is None


async def test_choices_go_by_digit_or_by_arrows() -> None:
    app, job = bench_app(samples.asking("choice"))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "1 ▸ like new")
        await pilot.press("3")
        assert job.desk.posted == [say.Answer("cracked")]
        await pilot.press("down", "down", "down", "up")
        await says(pilot, "2 ▸ shiny")
        await pilot.press("enter")
        assert job.desk.posted[-1] == say.Answer("shiny")


async def test_a_reason_that_is_asked_for_opens_by_the_one_key() -> None:
    app, job = bench_app(samples.asking("reason"))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "3 of 8 readings are not in")
        await pilot.press("space", *"ok", "enter")
        await until(pilot, lambda: job.desk.posted)
        assert job.desk.posted == [say.Accept("ok")]


async def test_an_interlock_is_confirmed_by_the_one_key() -> None:
    app, job = bench_app(samples.asking("confirm"))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "Reference tape out")
        assert "anything records." in text
        await pilot.press("space")
        assert job.desk.posted == [say.GoOn()]


async def test_tones_tick_themselves_off() -> None:
    app, job = bench_app(samples.listening(3))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "3 of 12 tones")
        text = await show(pilot, job, samples.listening(9), "9 of 12 tones")
        assert "dB off target" in text
        assert "✗ 8 kHz" not in text
        text = await show(pilot, job, samples.listening(12), "12 of 12 tones")
        assert "✗ 12.5 kHz" in text


async def test_trouble_is_on_the_gauge_and_in_the_header() -> None:
    lost = replace(samples.SOUND, port=replace(samples.PORT, state="lost"))
    app, _ = bench_app(samples.adjusting(sound=lost))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "device lost")
        assert text.count("! device lost") == 3


async def test_what_could_not_be_saved_is_said_before_all() -> None:
    app, _ = bench_app(samples.adjusting(unsaved="sessions/x: not saved yet: no room", notice="kept"))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "! sessions/x: not saved yet")
        assert "kept" not in text.splitlines()[-3]


async def test_a_long_notice_is_read_whole() -> None:
    sentence = "the left level is not in (out); " * 4 + "turn on, or accept it with a reason"
    app, _ = bench_app(samples.adjusting(notice=sentence))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "turn on, or accept it")
        assert text.splitlines()[22].strip() == "reason"
        assert "raise by" in text


async def test_the_end_says_outcome_and_report_and_stops_the_desk() -> None:
    app, job = bench_app(samples.cleaning())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Done: go on")
        await show(pilot, job, samples.ended(1), "report.html")
        text = screen_text(app)
        assert "2 steps are out: Replay response and Record level." in text
        assert "✓  28 in" in text
        assert job.desk.stops == 1
        assert job.closed == [samples.ended(1).outcome]
        await pilot.press("space")
        await until(pilot, lambda: app.return_value == 0)
    assert job.desk.stops == 1


async def test_the_end_opens_the_report(tmp_path: Path) -> None:
    app, job = bench_app(samples.cleaning())
    job.folder = whole(tmp_path)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Done: go on")
        await show(pilot, job, samples.ended(1), "report.html")
        await pilot.press("o")
        await says(pilot, "LINE-UP REPORT: Lanternhill two-head deck")


async def test_leaving_the_app_stops_sound_and_closes_the_session() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        app.exit()
    assert job.desk.stops == 1
    assert job.closed == [None]


class SlowToOpen(ScriptedThread):
    def start(self) -> None:
        """Show nothing yet."""


class Opening(ScriptedJob):
    def open(self, on_snapshot: Callable[[Snapshot], None]) -> ScriptedThread:
        self.made = SlowToOpen(on_snapshot, self.first)
        return self.made


async def test_what_is_typed_before_the_bench_is_ready_does_nothing() -> None:
    """It may be the answer to the first question, typed too early: none of its letters is a command."""
    job = Opening(samples.adjusting())
    app = BenchApp(BenchScreen(job))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Getting the bench ready")
        await pilot.press(*"fudnkhvr", "space", "enter")
        job.desk.on_snapshot(samples.adjusting())
        text = await says(pilot, "raise by")
        assert "low ─" in text
        assert isinstance(app.screen, BenchScreen)
        assert job.desk.posted == []


class Refusing(ScriptedJob):
    def open(self, on_snapshot: Callable[[Snapshot], None]) -> ScriptedThread:
        raise Problem("there is no sound device: plug in the interface")


async def test_a_bench_that_cannot_open_says_why() -> None:
    job = Refusing(samples.adjusting())
    screen = BenchScreen(job)
    app = BenchApp(screen)
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: app.return_value is not None)
    assert screen.refusal == "there is no sound device: plug in the interface"
    assert job.closed == [None]


async def test_a_fault_of_the_bench_is_said_and_leaves_nothing_but_leaving() -> None:
    app, job = bench_app(samples.adjusting())
    job.kept = "What was accepted is safe in sessions/here. Please send us /tmp/fault.txt."
    said = "A fault of this program stopped the job at “Set the replay level”."
    outcome = Outcome(completed=False, exit_code=3, judged=0, words={}, said=said)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        job.desk.fault = ZeroDivisionError("in the bench thread")
        text = await show(pilot, job, samples.adjusting(outcome=outcome), "send us /tmp/fault.txt")
        assert "A fault of this program stopped the job" in text
        assert "safe in sessions/here" in text
        assert "Leave" in text
        await pilot.press("r", "k", "h", "n", "s", "up")
        assert job.desk.posted == []
        await pilot.press("space")
        await until(pilot, lambda: app.fault is not None)
    assert isinstance(app.fault, ZeroDivisionError)
    assert job.desk.stops == 1
    assert job.closed == [outcome]


async def test_a_bench_that_waits_for_a_slow_disk_says_so_until_it_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        monkeypatch.setattr("bench.tui.screens.bench.SLOW_S", 0.5)
        await says(pilot, "the disk or the sound device is slow")
        monkeypatch.setattr("bench.tui.screens.bench.SLOW_S", 60.0)
        job.desk.on_snapshot(samples.adjusting())
        await until(pilot, lambda: "is slow" not in screen_text(app))


async def test_a_session_that_is_still_written_is_not_closed_with_the_screen() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        job.desk.ends = False
        app.exit()
    assert job.closed == []
    assert app.close_late is not None
    lines: list[str] = []
    app.close_late(lines.append)
    assert lines == ["waited"]
    assert job.closed == [None]


async def test_a_flood_of_snapshots_ends_with_the_newest() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        for n in range(300):
            job.desk.on_snapshot(samples.adjusting(-12.001 - n / 100))
        assert app.screen.message_queue_size < 10
        await says(pilot, "raise by 3.0 dB")


async def test_a_moving_meter_does_not_draw_the_card_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A text step over a slow connection costs the line of its meter, not the whole screen."""
    app, job = bench_app(samples.cleaning())
    drawn: list[int] = []
    draw = Card.render_line

    def render_line(card: Card, y: int) -> Strip:
        drawn.append(y)
        return draw(card, y)

    monkeypatch.setattr(Card, "render_line", render_line)
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "fresh swab")
        assert drawn
        await pilot.pause(2 * FIGURES_EVERY_S)
        drawn.clear()
        for db in (-60.0, -50.0, -40.0):
            shown = samples.cleaning()
            job.desk.on_snapshot(replace(shown, sound=replace(shown.sound, peak_dbfs=(db, db))))
            await says(pilot, f"{db:.1f}".replace("-", "\N{MINUS SIGN}"))
        assert drawn == []


async def test_the_bell_rings_when_it_is_on_and_a_reading_was_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    app, job = bench_app(samples.adjusting())
    rung: list[int] = []
    monkeypatch.setattr(BenchApp, "bell", lambda _: rung.append(1))
    one, two = (tuple(samples.kept("level", "left", [(samples.reading(-12.0), None)] * n)) for n in (1, 2))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        await show(pilot, job, samples.adjusting(kept=one, notice="kept one"), "kept one")
        assert rung == []
        await pilot.press("l")
        rung.clear()
        await show(pilot, job, samples.adjusting(kept=two, notice="kept two"), "kept two")
        assert rung == [1]


async def test_the_mouse_does_what_the_keys_do() -> None:
    app, job = bench_app(samples.adjusting(-12.0, -12.1))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "s stop sound")
        await pilot.click("#prompt")
        await until(pilot, lambda: job.desk.posted)
        row = text.splitlines()[23]
        await pilot.click("#footer", offset=(row.index("s stop sound") - 1, 0))
        await until(pilot, lambda: len(job.desk.posted) == 2)
        assert job.desk.posted == [say.GoOn(), say.StopSound()]


@pytest.mark.parametrize(
    "made",
    [
        samples.adjusting,
        samples.azimuth,
        samples.listening,
        samples.cleaning,
        lambda: samples.cleaning(700.0),
        lambda: samples.asking("choice"),
        lambda: samples.asking("reason"),
        samples.ended,
    ],
)
def test_the_footer_has_at_most_six_verbs(made: Callable[[], Snapshot]) -> None:
    shown = footer_of(made())
    assert len(shown) <= 6
    assert shown[-1][1] == "help"
    assert sum(len(key_name(item, typing=True)) + len(label) + 4 for item, label in shown) <= 80


async def test_the_bell_is_remembered(tmp_path: Path) -> None:
    preferences = Preferences(tmp_path / "state.json")
    for before, after in ((False, True), (True, False)):
        _, job = bench_app(samples.adjusting())
        app = BenchApp(BenchScreen(job), preferences)
        async with app.run_test(size=SIZE) as pilot:
            await says(pilot, "raise by")
            assert app.bell_on is before
            await pilot.press("l")
            assert app.bell_on is after


async def test_measuring_steps_follow_one_another_up_to_the_first_that_is_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bench.tui.screens.countdown.CountDown.beat_s", 0.01)
    start = Prompt("go-on", "Start the tones", sounds=True)

    def measuring(step: str, value: float) -> Snapshot:
        readings = [(r, samples.gauge(value).verdict) for r in (samples.reading(value),)]
        view = samples.step(id=step, kind="measure", title=step.title(), cautions=())
        kept = tuple(samples.kept("before", "left", readings))
        return replace(samples.listening(0, prompt=start), step=view, tones=(), kept=kept)

    app, job = bench_app(measuring("first", -12.0))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "p run on")
        await pilot.press("p")
        await until(pilot, lambda: job.desk.posted == [say.GoOn()])
        job.desk.on_snapshot(measuring("second", -12.1))
        await until(pilot, lambda: job.desk.posted == [say.GoOn()] * 2)
        await show(pilot, job, measuring("third", -14.0), "Third")
        await show(pilot, job, measuring("fourth", -12.0), "Fourth")
        assert job.desk.posted == [say.GoOn()] * 2


async def test_what_no_turn_brings_nearer_is_accepted_with_that_reason() -> None:
    seen = samples.adjusting()
    app, job = bench_app(replace(seen, gauges=tuple(replace(g, advice="hold") for g in seen.gauges)))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "a accept as is")
        await pilot.press("a")
        await says(pilot, "as near as it can be read")
        await pilot.press("enter")
        await until(pilot, lambda: job.desk.posted == [say.Accept("as near as it can be read")])


async def test_proposed_turns_follow_one_another_until_none_is_left_or_a_hand_turns() -> None:
    def at(degrees: float, turn: float | None, read_at: float) -> Snapshot:
        trimmers = (replace(samples.TRIMMERS[0], degrees=degrees), samples.TRIMMERS[1])
        seen = samples.adjusting(trimmers=trimmers)
        read = replace(seen.gauges[0], turn=turn, advice="turn", history=((read_at, -12.9),))
        return replace(seen, gauges=(read, seen.gauges[1]))

    def turned(*degrees: float) -> list[say.Command]:
        return [say.Turn(samples.TRIMMERS[0].name, d) for d in degrees]

    app, job = bench_app(at(0.0, 6.0, 1.0))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "g turn as shown")
        await pilot.press("g")
        await until(pilot, lambda: job.desk.posted == turned(6.0))
        job.desk.on_snapshot(at(5.0, 6.0, 1.0))  # the trimmer is seen to move before the next reading
        await pilot.pause(0.2)
        job.desk.on_snapshot(at(5.0, None, 1.1))
        job.desk.on_snapshot(at(5.0, 3.0, 1.2))
        await until(pilot, lambda: job.desk.posted == turned(6.0, 3.0))
        job.desk.on_snapshot(at(5.0, 2.9, 1.3))  # the trimmer is at its stop
        await pilot.pause(0.2)
        await pilot.press("right")
        job.desk.on_snapshot(at(7.0, 1.0, 1.4))
        await pilot.pause(0.2)
        assert job.desk.posted == turned(6.0, 3.0, 2.0)


def test_no_key_does_two_things() -> None:
    keys = [key for item in BENCH for key in (item.key, item.function_key, *item.also) if key]
    assert len(keys) == len(set(keys))
