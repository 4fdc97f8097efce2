"""The steps of a session, from the copies beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bench.session.record.reader import read_session
from bench.session.report.steps import outline
from tests.session.made_up import PROCEDURE, begin


def test_followed_steps_stand_in_place(tmp_path: Path) -> None:
    steps = outline(read_session(begin(tmp_path).store.folder))
    assert list(steps)[:3] == ["dirty", "clean/swab", "found"]
    assert steps["clean/swab"].title == "Swab heads, capstan and pinch roller"
    assert steps["clean/swab"].cautions[0][0] == "solvent"
    assert [s.id for s in steps.values() if s.judged] == ["replay-level", "proof-replay", "proof-record"]


def test_a_followed_procedure_takes_stage_and_cautions(tmp_path: Path) -> None:
    store = begin(tmp_path).store
    caution = '[[step.cautions]]\nhazard = "mains"\nsay = "Plug pulled."\n'
    changed = PROCEDURE.replace('procedure = "clean"\n', f'procedure = "clean"\nstage = "found-clean"\n{caution}')
    (store.folder / "inputs" / "line-up.toml").write_text(changed)
    step = outline(read_session(store.folder))["clean/swab"]
    assert step.stage == "found-clean"
    assert [hazard for hazard, _ in step.cautions] == ["mains", "solvent"]


def test_broken_copies_are_no_error(tmp_path: Path) -> None:
    store = begin(tmp_path).store
    (store.folder / "inputs" / "clean.toml").write_text("step = [")
    assert "found" in outline(read_session(store.folder))
    (store.folder / "inputs" / "line-up.toml").write_text('step = [1, {}, {id = 3}, {id = "a", kind = "follow"}]')
    assert outline(read_session(store.folder)) == {}
    endless = '[[step]]\nid = "a"\nkind = "follow"\nprocedure = "line-up"\n'
    (store.folder / "inputs" / "line-up.toml").write_text(endless)
    assert outline(read_session(store.folder)) == {}
    (store.folder / "inputs" / "line-up.toml").unlink()
    assert outline(read_session(store.folder)) == {}


def test_a_procedure_followed_in_each_direction_has_its_steps_twice(tmp_path: Path) -> None:
    store = begin(tmp_path).store
    changed = PROCEDURE.replace('procedure = "clean"\n', 'procedure = "clean"\neach_direction = true\n')
    (store.folder / "inputs" / "line-up.toml").write_text(changed)
    forward_only = read_session(store.folder)
    assert list(outline(forward_only))[:3] == ["dirty", "clean/swab", "found"]
    steps = outline(replace(forward_only, steps_done=("clean-forward/swab",)))
    assert list(steps)[:4] == ["dirty", "clean-forward/swab", "clean-reverse/swab", "found"]
    assert steps["clean-forward/swab"].title == "Swab heads, capstan and pinch roller, forward"
    assert steps["clean-reverse/swab"].title == "Swab heads, capstan and pinch roller, reverse"
    assert steps["clean-reverse/swab"].cautions == outline(forward_only)["clean/swab"].cautions
