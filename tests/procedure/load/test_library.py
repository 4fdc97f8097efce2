"""The files of a workspace, by name and by path."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.problem import Problem
from bench.procedure.load.library import Library
from tests.procedure.small_bench import BIAS, CLEAN, GOOD, HEAD, RECORD, make_bench


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(
        make_bench(
            tmp_path,
            good=GOOD,
            broken=HEAD + "tilte = 1\n" + CLEAN,
            piece=HEAD + "part = true\n" + RECORD,
            live=HEAD + BIAS + 'via = "live"\n',
        )
    )


def test_a_list_shows_the_broken_ones_with_their_reason(library: Library) -> None:
    listed = {p.name: p for p in library.procedures()}
    assert list(listed) == ["broken", "good", "live", "piece"]
    assert listed["good"].title == "A line-up"
    assert listed["good"].broken == ""
    assert listed["good"].takes_minutes == 5
    assert listed["piece"].part
    assert not listed["good"].part
    assert 'did you mean "title"?' in listed["broken"].broken
    assert [s.name for s in library.sheets("machine")] == ["three-head-cassette", "two-head-cassette"]
    (library.workspace.sheets / "tapes" / "bad.toml").write_text("format = 9\n", encoding="utf-8")
    tapes = {s.name: s for s in library.sheets("tape")}
    assert "newer than this program reads" in tapes["bad"].broken
    assert tapes["ferric-daily"].title == "Ferric"


def test_an_empty_workspace_lists_nothing(tmp_path: Path) -> None:
    from bench.workspace import Workspace

    empty = Library(Workspace(tmp_path))
    assert empty.procedures() == ()
    assert empty.sheets("fault") == ()


def test_a_job_by_name_and_by_path(library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    by_name = library.load_job("good")
    assert library.load_job(tmp_path / "procedures" / "good.toml") == by_name
    assert library.load_job("procedures/good.toml") == by_name
    monkeypatch.chdir(tmp_path / "procedures")
    assert library.load_job("good.toml").name == "good"
    sheet = library.workspace.sheets / "machines" / "three-head-cassette.toml"
    assert library.load_job("good", machine=sheet).machine == by_name.machine


def test_a_procedure_from_elsewhere_is_done_with_the_sheets_of_the_workspace(library: Library, tmp_path: Path) -> None:
    elsewhere = tmp_path / "desk" / "mine.toml"
    elsewhere.parent.mkdir()
    elsewhere.write_text(GOOD, encoding="utf-8")
    job = library.load_job(elsewhere)
    assert job.names["machine"] == "three-head-cassette"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"procedure": "goood"}, 'there is no procedure "goood" in .*; did you mean "good"?'),
        ({"procedure": "none.toml"}, "none.toml: no such file; procedures lie in"),
        (
            {"procedure": "good", "machine": "tree-head-cassette"},
            'no machine sheet "tree-head.*mean "three-head-cassette"',
        ),
        ({"procedure": "good", "tape": "x/y"}, "x/y: no such file; tape sheets lie in"),
        ({"procedure": "broken"}, "tilte: is not a key"),
        ({"procedure": "live", "machine": "two-head-cassette"}, "two heads and cannot replay while it records"),
    ],
)
def test_what_cannot_be_put_together_is_said_in_one_sentence(
    library: Library, asked: dict[str, str], said: str
) -> None:
    with pytest.raises(Problem, match=said) as raised:
        library.load_job(**asked)
    assert "\n" not in raised.value.sentence


def test_a_fault(library: Library) -> None:
    assert library.fault("dirty-head").mended_by == ("clean",)
    with pytest.raises(Problem, match='there is no fault sheet "dirty-haed"'):
        library.fault("dirty-haed")


def test_a_job_names_what_it_lacks(library: Library) -> None:
    job = library.load_job("good")
    with pytest.raises(Problem, match='machine sheet three-head-cassette has no target "x"'):
        job.target("machine.x")
    with pytest.raises(Problem, match='has no section "x"; it has level, high, skew'):
        job.section("x")
