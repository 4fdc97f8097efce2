"""One machine, several tapes: shared trimmers are set once, the others for each tape, and everything is read again.

Common practice, no source: on a cassette deck azimuth, speed and replay level serve all types of tape, bias is set for
each type. On open reel a speed has its own equalisation and bias.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.check_files import check_files
from bench.problem import Problem
from bench.procedure.load.library import Library
from bench.procedure.model.steps import Adjust, RecordReplay, Reference
from bench.procedure.state.dependencies import aspect_set_by
from bench.workspace import Workspace, shipped_procedures

LIBRARY = Library(Workspace(shipped_procedures().parent))
JOB = LIBRARY.load_job("cassette-several-tapes")
SHEET = (shipped_procedures() / "sheets" / "machines" / "three-position-cassette.toml").read_text(encoding="utf-8")
ADJUSTED = [(s.lot, name) for s in JOB.steps if isinstance(s, Adjust) for name in s.trimmers.values()]


def test_each_tape_has_the_machine_at_its_setting_and_a_reference_tape_of_its_equalisation() -> None:
    assert [s.lot for s in JOB.further] == ["chrome", "metal"]
    assert (JOB.machine.equalisation_us, JOB.reference_tape.equalisation_us) == ((120.0, 3180.0), (120.0, 3180.0))
    for one in JOB.further:
        assert one.machine.equalisation_us == one.reference_tape.equalisation_us == (70.0, 3180.0)
    assert JOB.at("metal").tape.iec_type == "IV"
    assert JOB.at("metal").target("machine.erasure").at_least == 55.0
    assert JOB.at("").target("machine.erasure").at_least == 60.0


def test_a_shared_trimmer_is_set_with_the_first_tape_and_never_again() -> None:
    for shared in ("speed", "replay azimuth", "replay level left", "replay equalisation right", "record level left"):
        assert {lot for lot, name in ADJUSTED if name == shared} == {""}


def test_an_own_trimmer_is_set_for_its_tape_alone_after_all_that_moves_it() -> None:
    for lot, setting in (("", "ferric"), ("chrome", "chrome"), ("metal", "metal")):
        for side in ("left", "right"):
            for own in (f"bias {side} {setting}", f"record equalisation {side} {setting}"):
                assert {other for other, name in ADJUSTED if name == own} == {lot}
    first_own = next(n for n, (lot, _) in enumerate(ADJUSTED) if lot)
    assert {aspect_set_by(name) for _, name in ADJUSTED[first_own:]} == {"bias", "record response"}


def test_every_tape_is_read_again_after_the_last_trimmer() -> None:
    last = max(n for n, s in enumerate(JOB.steps) if isinstance(s, Adjust))
    read = {s.lot for s in JOB.steps[last:] if isinstance(s, RecordReplay) and "response" in s.targets}
    assert read == {"", "chrome", "metal"}


def test_a_reference_tape_is_worn_once_at_each_equalisation() -> None:
    plays = [s.id for s in JOB.steps if isinstance(s, Reference)]
    assert plays == ["found-replay/play", "found-replay-chrome/play", "replay/play", "replay-chrome/play"]


def test_a_step_that_is_left_out_says_why() -> None:
    why = {s.id: s.why for s in JOB.inapplicable}
    said = "record level left is shared, and is set already at the setting ferric"
    assert why["record-chrome/record/record-level"] == said


def test_two_speeds_share_azimuth_and_nothing_else_that_a_tape_moves() -> None:
    job = LIBRARY.load_job("open-reel-two-speeds")
    (slow,) = job.further
    assert (job.machine.speed_mm_s, slow.machine.speed_mm_s, slow.reference_tape.speed_mm_s) == (381.0, 190.5, 190.5)
    turned = {name for s in job.steps if isinstance(s, Adjust) and s.lot for name in s.trimmers.values()}
    assert {"speed 19-cm", "replay level left 19-cm", "bias right 19-cm"} <= turned
    assert all(name.endswith(" 19-cm") for name in turned)
    assert [s.id for s in job.steps if s.id.endswith("/bias-190")] == ["record-19-cm/record/bias-190"]


def test_tapes_are_named_in_any_number() -> None:
    reference = "cassette-reference-chrome"
    alone = LIBRARY.load_job("cassette-several-tapes", tape="chrome-evening", reference_tape=reference)
    assert alone.further == ()
    assert alone.machine.equalisation_us == (70.0, 3180.0)
    assert "bias left chrome" in {n for s in alone.steps if isinstance(s, Adjust) for n in s.trimmers.values()}
    assert LIBRARY.load_job("cassette-several-tapes", tape="ferric-daily").further == JOB.further
    two = LIBRARY.load_job("cassette-several-tapes", tape="metal-festival", other_tapes=["ferric-daily"])
    assert (two.tape.iec_type, [s.lot for s in two.further]) == ("IV", ["ferric"])


@pytest.mark.parametrize(
    ("tape", "others", "said"),
    [
        ("reel-studio", (), 'no setting for "reel-studio"; add a [[setting]] with tape_type = ["open reel"]'),
        ("ferric-daily", ("ferric-gala",), '"ferric-gala" is a second tape for the setting "ferric"'),
    ],
)
def test_a_tape_without_a_setting_of_its_own(tape: str, others: tuple[str, ...], said: str) -> None:
    with pytest.raises(Problem) as problem:
        LIBRARY.load_job("cassette-several-tapes", tape=tape, other_tapes=others)
    assert said in problem.value.sentence


def test_a_machine_sheet_without_settings_serves_one_tape() -> None:
    with pytest.raises(Problem, match=r"no setting for .chrome-dawn"):
        LIBRARY.load_job("line-up-cassette", tape="ferric-daily", other_tapes=["chrome-dawn"])


@pytest.mark.parametrize(
    ("was", "written", "said"),
    [
        ('name = "metal"', 'name = "chrome"', '"chrome" is there twice'),
        ('["bias left", "bias right"', '["bias lift", "bias right"', 'no trimmer "bias lift"'),
        ('tape_selector = "IV"', 'tape_selektor = "IV"', "tape_selektor"),
        ('tape_type = ["IV"]', "tape_type = []", "tape_type"),
    ],
)
def test_a_setting_with_a_mistake(tmp_path: Path, was: str, written: str, said: str) -> None:
    folder = tmp_path / "procedures" / "sheets" / "machines"
    folder.mkdir(parents=True)
    assert was in SHEET
    (folder / "deck.toml").write_text(SHEET.replace(was, written, 1), encoding="utf-8")
    findings = check_files([folder / "deck.toml"], Workspace(tmp_path))
    assert [said in f.sentence for f in findings] == [True]
