"""Reference tapes found in workshops: single-purpose cassettes, other frequencies, other fluxes."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bench.problem import Problem
from bench.procedure.kinds.correct.reference_tape import expected_dbfs, fringes
from bench.procedure.load.library import Library
from bench.procedure.load.reader import load_sheet
from bench.procedure.load.section_fit import section_for
from bench.procedure.load.validate import check_files
from bench.procedure.model.sheets import Section
from bench.procedure.model.steps import Adjust, Reference
from bench.tape.losses import fringing_rise_db
from bench.workspace import Workspace, shipped_procedures

LIBRARY = Library(Workspace(shipped_procedures().parent))
JOB = LIBRARY.load_job("line-up-cassette", reference_tape="workshop-set")
BY_ID = {s.id: s for s in JOB.steps}


def section(name: str, purpose: str, hz: float) -> Section:
    return Section(id=name, purpose=purpose, hz=hz, db=-10.0, seconds=20.0)  # type: ignore[arg-type]


def test_each_step_says_which_cassette_to_load() -> None:
    level, fine = BY_ID["replay/replay-level"], BY_ID["replay/azimuth"]
    assert level.do.startswith("Load Workshop level cassette. ")
    assert fine.do.startswith("Load Workshop azimuth cassette. ")
    speed = BY_ID["speed/speed"]
    assert isinstance(speed, Adjust)
    assert speed.plays == "speed-3000"
    assert speed.do.startswith("Load Workshop speed cassette. ")


def test_texts_name_the_section_that_is_played() -> None:
    coarse = BY_ID["replay/azimuth-coarse"]
    assert coarse.title == "Replay azimuth, coarse at 3 kHz"
    assert "Play the 3 kHz speed section." in coarse.do
    assert "3 kHz plays while you turn. Loudspeakers down." in [c.say for c in coarse.cautions]


def test_coarse_azimuth_is_set_on_the_highest_tone_that_is_unambiguous() -> None:
    coarse = BY_ID["replay/azimuth-coarse"]
    assert isinstance(coarse, Adjust)
    assert coarse.plays == "speed-3000"


def test_a_step_that_no_tape_serves_is_offered_without_it() -> None:
    assert "replay/replay-equalisation" not in BY_ID
    why = {s.id: s.why for s in JOB.inapplicable}
    assert why["replay/replay-equalisation"] == "no reference tape here has response at 10 kHz"
    said = "left out here: Replay equalisation at 10 kHz: no reference tape here has response at 10 kHz"
    assert JOB.lacks == said
    assert LIBRARY.load_job("line-up-cassette").lacks == ""
    play = BY_ID["replay/play"]
    assert isinstance(play, Reference)
    assert set(play.targets) == {"speed_error", "level", "balance", "azimuth_delay"}
    assert "Workshop level cassette, Workshop azimuth cassette and Workshop speed cassette" in play.do


def test_the_american_level_is_converted_with_its_uncertainty() -> None:
    # 200 nWb/m (ANSI) is 218 (DIN), -1.19 dB re 250 (DIN); the conversion is known to 0.15 dB (from memory).
    level = JOB.section("level-400")
    assert expected_dbfs(JOB, level) - JOB.replay_dbfs == pytest.approx(-1.19, abs=0.01)


def test_the_nearest_section_of_the_same_use_serves() -> None:
    sections = [section("l", "level", 315.0), section("s", "speed", 3000.0), section("r", "response", 12000.0)]
    assert section_for("level-400", sections) is sections[0]
    assert section_for("speed-3150", sections) is sections[1]
    assert section_for("response-12k5", sections) is sections[2]
    assert section_for("response-10k", sections) is sections[2]
    assert section_for("response-6k3", sections) is None
    assert section_for("azimuth-10k", sections) is None
    assert section_for("azimuth-3k15", sections) is sections[1]
    assert section_for("own-name", sections) is None


def test_full_track_tapes_read_high_at_long_wavelengths() -> None:
    # McKnight, JAES 26(4), 1978, as quoted in the trade: +1 to +3 dB, not usable below about 1 kHz at 381 mm/s.
    rise = [float(fringing_rise_db(hz, 381.0, 2.0)) for hz in (50.0, 100.0, 1000.0, 10000.0)]
    assert 1.0 < rise[0] < 3.0
    assert 1.0 < rise[1] < 3.0
    assert rise[2] < 0.3
    assert rise[3] < 0.05
    assert rise == sorted(rise, reverse=True)


def test_low_tones_of_a_full_track_tape_are_not_judged_on_a_narrower_head() -> None:
    job = LIBRARY.load_job("open-reel-iec")
    machine = job.machine.model_copy(update={"track_format": "two-track"})
    tape = job.reference_tape.model_copy(update={"track_format": "full-track"})
    wide = type(job)(
        **{f: getattr(job, f) for f in job.__dataclass_fields__} | {"machine": machine, "reference_tape": tape}
    )
    assert [fringes(wide, hz) for hz in (63.0, 900.0, 1000.0, 10000.0)] == [True, True, False, False]
    assert not fringes(job, 63.0)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    shutil.copytree(shipped_procedures(), tmp_path / "procedures")
    return tmp_path


def said_of(bench: Path, name: str, old: str, new: str) -> list[str]:
    path = bench / "procedures" / "sheets" / "reference-tapes" / f"{name}.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    return [f.sentence for f in check_files([path], Workspace(bench))]


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("workshop-set", '"workshop-level-400", ', '"cassette-9", ', 'there is no reference-tape sheet "cassette-9"'),
        ("workshop-set", '"workshop-level-400", ', f'"{"é" * 300}", ', "there is no reference-tape sheet"),
        ("workshop-set", '"workshop-level-400", ', "", "none of these tapes has a level tone"),
        ("workshop-set", '"workshop-speed-3000"', '"reel-95"', "are for different speed"),
        ("workshop-set", '"workshop-speed-3000"', '"workshop-set"', "is a set, not a tape"),
        ("workshop-level-400", "2026-03-02", "2199-01-01", "2199-01-01 is still to come"),
        ("workshop-level-400", "seconds = 180.0", "seconds = 1.0", "is shorter than the 2 s in which a tone settles"),
        ("workshop-level-400", '"cassette stereo"', '"eight-track"', "track_format"),
    ],
)
def test_bad_sheets_are_one_sentence(bench: Path, name: str, old: str, new: str, said: str) -> None:
    sentences = said_of(bench, name, old, new)
    assert len(sentences) == 1, sentences
    assert said in sentences[0]


def test_a_track_format_that_no_head_has_is_refused(bench: Path) -> None:
    path = bench / "procedures" / "sheets" / "reference-tapes" / "workshop-level-400.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"cassette stereo"', '"quarter-track"'), encoding="utf-8")
    with pytest.raises(Problem, match="the reference tape is quarter-track, and no head of the machine is"):
        Library(Workspace(bench)).load_job("line-up-cassette", reference_tape="workshop-level-400")


def test_a_set_is_kept_with_its_sheets() -> None:
    assert {u.path.stem for u in JOB.used} >= {"workshop-set", "workshop-level-400", "workshop-azimuth-10k"}
    tape = load_sheet(LIBRARY.sheet_path("workshop-set", "reference-tape"), "reference-tape")
    assert tape.names == ("Workshop level cassette", "Workshop azimuth cassette", "Workshop speed cassette")
