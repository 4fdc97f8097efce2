"""A reference-tape sheet typed in as a few answers."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from textual.widgets import Input

from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.load.reader import load_sheet
from bench.tui.app import BenchApp
from bench.tui.editing import check_file
from bench.tui.preferences import Preferences
from bench.tui.reference_tape_form import QUESTIONS, sheet_text, write_sheet
from bench.tui.screens.chooser import ChooserScreen
from bench.tui.screens.type_in_tape import NAME_OF_SET
from bench.workspace import Workspace, shipped_procedures
from tests.tui.screen_driver import says

ANSWERS = {
    "name": "Level and response, no. 12",
    "serial": "L-12",
    "speed": "4.76",
    "equalisation": "120 3180",
    "tracks": "cassette stereo",
    "sections": "level 400@0 60, azimuth 10000@-20, response 315@-20 10, 63@-20, 12500@-20/+0.3, speed 3000@-10 120",
    "flux": "200 ansi",
    "certificate": "-",
    "date": "2026-03-02",
}


def test_a_sheet_that_is_read_and_fits_a_job(tmp_path: Path) -> None:
    shutil.copytree(shipped_procedures(), tmp_path / "procedures")
    bench = Workspace(tmp_path)
    path = write_sheet(bench.sheets / "reference-tapes", ANSWERS)
    tape = load_sheet(path, "reference-tape")
    assert path.name == "level-and-response-no-12.toml"
    assert [(s.id, s.db, s.seconds, s.recorded_error_db, s.uncertainty_db) for s in tape.section] == [
        ("level-400", 0.0, 60.0, 0.0, 0.25),
        ("azimuth-10k", -20.0, 60.0, 0.0, 1.0),
        ("response-315", -20.0, 10.0, 0.0, 0.5),
        ("response-63", -20.0, 10.0, 0.0, 0.5),
        ("response-12k5", -20.0, 10.0, 0.3, 1.0),
        ("speed-3k", -10.0, 120.0, 0.0, 0.5),
    ]
    assert (tape.speed_mm_s, tape.fluxivity_nwb_m, tape.fluxivity_method) == (47.625, 200.0, "ANSI")
    assert (tape.serial, tape.certificate, tape.track_format) == ("L-12", "", "cassette stereo")
    assert Library(bench).load_job("line-up-cassette", reference_tape=path.stem).reference_tape == tape
    assert write_sheet(path.parent, ANSWERS).name == "level-and-response-no-12-2.toml"


@pytest.mark.parametrize(
    ("key", "answer", "said"),
    [
        ("name", "  ", "name: type what the tape is called"),
        ("speed", "fast", "speed: type the tape speed in cm/s"),
        ("speed", "12", "12 cm/s is no usual tape speed"),
        ("flux", "250", "flux: type the figure and its method"),
        ("equalisation", "120", "two figures in µs"),
        ("tracks", "eight", "tracks: “eight” is none of cassette mono, cassette stereo"),
        ("date", "last year", "“last year” is not a date"),
        ("sections", "", "type at least one"),
        ("sections", "400@0 60", "needs a purpose and its seconds"),
        ("sections", "level four", "“level four” is not purpose Hz@dB seconds"),
    ],
)
def test_what_cannot_be_read_is_one_sentence(key: str, answer: str, said: str) -> None:
    assert key in QUESTIONS
    with pytest.raises(Problem, match=said):
        sheet_text(ANSWERS | {key: answer})


async def test_a_set_is_typed_in_question_by_question_and_selected(tmp_path: Path) -> None:
    shipped, root = shipped_procedures(), tmp_path / "bench"
    shutil.copytree(shipped / "sheets", root / "procedures" / "sheets")
    shutil.copy(shipped / "clean.toml", root / "procedures")
    bench = Workspace(root)
    app = BenchApp(ChooserScreen(bench, Preferences(tmp_path / "chooser.json")))
    async with app.run_test(size=(100, 30)) as pilot:

        async def answer(question: str, said: str) -> None:
            await says(pilot, question[:40])
            app.screen.query_one(Input).value = said
            await pilot.press("enter")

        await says(pilot, "Clean the tape path")
        await pilot.press("n")
        for key, question in QUESTIONS.items():
            if key == "speed":
                await answer(question, "12")
                await says(pilot, "12 cm/s is no usual tape speed")
            await answer(question, ANSWERS[key])
        await says(pilot, "Does another tape belong with it")
        await pilot.press("y")
        for key in ("name", "serial", "sections", "certificate", "date"):
            own = {"name": "Azimuth, no. 13", "sections": "azimuth 10000@-20 60"}
            await answer(QUESTIONS[key], own.get(key, ANSWERS[key]))
        await says(pilot, "Does another tape belong with it")
        await pilot.press("n")
        await answer(NAME_OF_SET.format(count=2), "Two cassettes")
        await says(pilot, "Two cassettes")
    tape = load_sheet(bench.sheets / "reference-tapes" / "two-cassettes.toml", "reference-tape")
    assert tape.names == ("Level and response, no. 12", "Azimuth, no. 13")
    assert check_file(bench.sheets / "reference-tapes" / "two-cassettes.toml", bench) == []
