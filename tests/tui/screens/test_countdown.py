"""Count-downs, hints, a trainee's card, cautions that fold: by key alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench.procedure.run import commands as say
from bench.procedure.state.snapshot import Prompt, Snapshot
from bench.tui.screens.bench import BenchScreen
from bench.tui.screens.countdown import CountDown, Hints
from bench.tui.screens.dialogs import CardDialog, HelpDialog
from tests.tui import samples
from tests.tui.screen_driver import bench_app, says, screen_text, show, until

SIZE = (80, 24)
START = Prompt("go-on", "Tape in use loaded and recording: start the tones", sounds=True)
HINTS = ("What does level mean to a decoder?", "Is the figure steady?", "Turn by a degree and wait.")


def sending() -> Snapshot:
    return samples.listening(0, prompt=START)


async def test_tones_start_only_when_the_count_is_down(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(CountDown, "beat_s", 0.3)
    app, job = bench_app(sending())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "start the tones")
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, CountDown))
        assert job.desk.posted == []
        text = screen_text(app)
        assert "Loud tones: loudspeakers down" in text
        await until(pilot, lambda: job.desk.posted)
        assert job.desk.posted == [say.GoOn()]
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))


@pytest.mark.parametrize(("key", "posted"), [("s", []), ("escape", []), ("space", []), ("f9", [say.StopSound()])])
async def test_a_count_down_is_stopped_before_anything_sounds(
    key: str, posted: list[say.Command], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(CountDown, "beat_s", 3600.0)
    app, job = bench_app(sending())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "start the tones")
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, CountDown))
        await pilot.press(key)
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await pilot.pause(0.2)
        assert job.desk.posted == posted


async def test_what_changed_during_the_count_is_not_started(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(CountDown, "beat_s", 0.8)
    app, job = bench_app(sending())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "start the tones")
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, CountDown))
        job.desk.on_snapshot(replace(sending(), prompt=Prompt("wait", "the device is lost")))
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        await pilot.pause(0.1)
        assert job.desk.posted == []


async def test_a_step_without_tones_starts_at_once() -> None:
    app, job = bench_app(samples.cleaning())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Done: go on")
        await pilot.press("space")
        await until(pilot, lambda: job.desk.posted)


async def test_hints_come_one_by_one_and_the_answer_last() -> None:
    app, job = bench_app(samples.adjusting(step=samples.step(hints=HINTS)))
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        await pilot.press("i")
        text = await says(pilot, "think  What does level mean")
        assert "Is the figure steady" not in text
        await pilot.press("i")
        text = await says(pilot, "look  Is the figure steady?")
        assert "What does level mean" in text
        await pilot.press("i")
        text = await says(pilot, "do  Turn by a degree")
        assert "otherwise" not in text
        await pilot.press("i")
        await says(pilot, "otherwise  Look at the head for dirt again")
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, BenchScreen))
        assert job.desk.posted == []
        await pilot.press("i")
        await until(pilot, lambda: isinstance(app.screen, Hints))
        assert "otherwise  Look" in screen_text(app)


async def test_a_trainee_has_why_open_and_hints_are_noted() -> None:
    app, job = bench_app(samples.adjusting(step=samples.step(hints=HINTS)))
    job.trainee = True
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: isinstance(app.screen, CardDialog), "why, over a small screen")
        assert "why  A noise-reduction decoder" in screen_text(app)
        await pilot.press("space")
        text = await says(pilot, "raise by")
        assert "i hint" in text.splitlines()[-1]
        await pilot.press("i")
        await says(pilot, "think")
        await pilot.press("escape")
        await until(pilot, lambda: job.desk.posted)
        assert job.desk.posted == [say.Note("hints looked at: 1")]


async def test_a_trainee_with_room_has_why_beside_the_gauge() -> None:
    app, job = bench_app(samples.adjusting())
    job.trainee = True
    async with app.run_test(size=(120, 40)) as pilot:
        await says(pilot, "why  A noise-reduction decoder")
        await pilot.pause(0.2)
        assert isinstance(app.screen, BenchScreen)
        assert "raise by" in screen_text(app)


async def test_cautions_fold_once_they_were_read_and_leave_the_instruction_room(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    takes_s = 3600.0
    monkeypatch.setattr("bench.tui.screens.bench_card.caution_reading_s", lambda parts: takes_s)
    app, job = bench_app(samples.beside_hazards())
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "Sleeves and hair back")
        assert "an insulated trimming tool" not in text
        takes_s = 0.1
        job.desk.on_snapshot(in_other_words("quick", "Quick"))
        text = await says(pilot, "▲ Moving parts, mains, loud tones: w shows the cautions")
        assert "an insulated trimming tool" in " ".join(text.split())
        assert "raise by" in text
        takes_s = 3600.0
        text = await show(pilot, job, in_other_words("another", "Another step"), "Another step")
        assert "Sleeves and hair back" in text


def in_other_words(step: str, title: str) -> Snapshot:
    """Another step with the same hazards, whose cautions are worded for it."""
    shown = samples.beside_hazards()
    assert shown.step is not None
    cautions = tuple(c.model_copy(update={"say": f"{c.say} {title}."}) for c in shown.step.cautions)
    return replace(shown, step=replace(shown.step, id=step, title=title, cautions=cautions))


async def test_a_caution_that_the_step_before_gave_is_named_and_no_more() -> None:
    app, job = bench_app(samples.beside_hazards())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Sleeves and hair back")
        same = samples.beside_hazards()
        assert same.step is not None
        same = replace(same, step=replace(same.step, id="next", title="The next step"))
        text = await show(pilot, job, same, "The next step")
        assert "▲ Moving parts, mains, loud tones: as before" in text
        assert "Sleeves and hair back" not in text
        await pilot.press("w")
        await says(pilot, "The capstan turns beside your hand.")


async def test_back_and_hold_by_key_where_they_can_be() -> None:
    app, job = bench_app(samples.adjusting())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "raise by")
        await pilot.press("b", "h")
        assert job.desk.posted == [say.Hold()]
        held = samples.adjusting(can_go_back=True, held=True, prompt=Prompt("go-on", "Held: go on"))
        await show(pilot, job, held, "Held: go on")
        await pilot.press("f8", "h")
        assert job.desk.posted[1:] == [say.Back(), say.GoOn()]


@pytest.mark.parametrize(
    ("snapshot", "words"),
    [
        (samples.adjusting(), "The large figure is the reading now"),
        (samples.azimuth(), "The phase figure sets left against right"),
        (samples.biased(), "The curve is what the reading did"),
        (samples.listening(3), "Each tone is recognised"),
        (samples.fluttering(), "The parts that make wow and flutter"),
        (samples.cleaning(), "Digits tick the lines"),
        (samples.asking("number"), "Type the figure in the unit shown"),
        (samples.asking("confirm"), "Nothing records before it is confirmed"),
        (samples.question(), "Press the digit of a choice"),
        (samples.ended(), "This job is over"),
    ],
)
async def test_f1_helps_with_what_has_the_focus(snapshot: Snapshot, words: str) -> None:
    app, _ = bench_app(snapshot)
    async with app.run_test(size=(100, 45)) as pilot:
        await says(pilot, "F1 help")
        await pilot.press("f1")
        await until(pilot, lambda: isinstance(app.screen, HelpDialog))
        assert words in " ".join(screen_text(app).replace("█", " ").split())


async def test_help_palette_and_footer_offer_the_same() -> None:
    app, _ = bench_app(samples.cleaning())
    async with app.run_test(size=SIZE) as pilot:
        await says(pilot, "Done: go on")
        bench = app.screen
        assert isinstance(bench, BenchScreen)
        offered = {v.action for v in bench.key_actions}
        assert "accept" not in offered
        assert "back" not in offered
        in_palette = {v.label.capitalize() for v in bench.key_actions if v.in_palette}
        assert {c.title for c in app.get_system_commands(app.screen)} == in_palette
        await pilot.press("a")
        await pilot.pause()
        assert app.screen is bench


async def test_an_answered_question_says_its_whole_reason() -> None:
    app, job = bench_app(samples.question())
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, "1 ▸ It falls")
        assert "The head gap of this deck is dirty." in text
        await pilot.press("1")
        assert isinstance(job.desk.posted[0], say.Answer)
        text = await show(pilot, job, samples.question(answered=True), "Right. Dirt lifts")
        assert "No trimmer gives that back." in text


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("clipping", "! clipping"),
        ("silence", "! silence"),
        ("lost", "! device lost"),
        ("hum", "! hum, 14 dB under"),
        ("one side", "! right channel only"),
    ],
)
async def test_what_is_amiss_is_said_on_the_gauge(what: str, words: str) -> None:
    app, _ = bench_app(samples.in_trouble(what))
    async with app.run_test(size=SIZE) as pilot:
        text = await says(pilot, words)
        assert any(words in line for line in text.splitlines()[12:16])
        if what in ("hum", "one side"):
            assert "raise by 0.9 dB" in text
