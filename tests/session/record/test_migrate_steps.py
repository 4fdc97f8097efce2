"""The steps of an old session, from its copies of the inputs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from bench.session.record.migrate_steps import copied_steps

PROCEDURE = """\
format = 1
title = "Line up a cassette deck"
summary = "All of it."
takes_minutes = 60

[[step]]
id = "dirty"
kind = "record-replay"
title = "Record-to-replay before cleaning"
do = "Record and replay."
stage = "found-dirty"

[[step]]
id = "clean"
kind = "follow"
title = "Clean"
procedure = "clean"

[[step]]
id = "found"
kind = "reference"
title = "Reference tape as found"
do = "Play the reference tape."
stage = "found-clean"
[[step.cautions]]
hazard = "reference-tape"
say = "Never in a machine that was not cleaned and demagnetised."

[[step]]
id = "found-record"
kind = "record-replay"
title = "Record-to-replay as found"
do = "Record and replay."
stage = "found-clean"

[[step]]
id = "replay-level"
kind = "adjust"
title = "Replay level"
do = "Turn the trimmer."
[[step.cautions]]
hazard = "loud-tones"
say = "Monitors down before any tone."

[[step]]
id = "proof-replay"
kind = "reference"
title = "Reference tape as left"
do = "Play the reference tape."

[[step]]
id = "proof-record"
kind = "record-replay"
title = "Record-to-replay as left"
do = "Record and replay."

[[step]]
id = "sign"
kind = "sign-off"
title = "Sign off"
accepts = "the machine as left"
"""
CLEAN = """\
format = 1
title = "Clean"
summary = "Swab."
takes_minutes = 5
part = true

[[step]]
id = "swab"
kind = "by-hand"
title = "Swab heads, capstan and pinch roller"
do = "Until the swab is clean."
does = ["clean"]
[[step.cautions]]
hazard = "solvent"
say = "Flammable: ventilate, no sparks. Follow the maker's safety data sheet."
"""


def steps_at(
    folder: Path, line_up: str = PROCEDURE, clean: str = CLEAN, *met: str, left_out: str = ""
) -> dict[str, Any]:
    """The steps by id, of a session that reached some of them."""
    for name, text in (("line-up", line_up), ("clean", clean)):
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    table = {
        "inputs": [{"path": "line-up.toml"}, {"path": "clean.toml"}, {"path": "gone.toml"}],
        "job": {"procedure_id": "line-up"},
        "readings": [{"step": step} for step in met],
        "events": [{"kind": "left-out", "step": left_out}] if left_out else [],
    }
    return {step["id"]: step for step in copied_steps(table, folder)}


def test_followed_steps_stand_in_place(tmp_path: Path) -> None:
    steps = steps_at(tmp_path)
    assert list(steps)[:3] == ["dirty", "clean/swab", "found"]
    assert steps["clean/swab"]["title"] == "Swab heads, capstan and pinch roller"
    assert [c["hazard"] for c in steps["clean/swab"]["cautions"]] == ["solvent"]
    assert steps["found"]["stage"] == "found-clean"


def test_a_followed_procedure_takes_stage_and_the_first_of_its_steps_the_cautions(tmp_path: Path) -> None:
    caution = '[[step.cautions]]\nhazard = "mains"\nsay = "Plug pulled."\n'
    changed = PROCEDURE.replace('procedure = "clean"\n', f'procedure = "clean"\nstage = "found-clean"\n{caution}')
    second = '[[step]]\nid = "dry"\nkind = "by-hand"\ntitle = "Let it dry"\n'
    steps = steps_at(tmp_path, changed, CLEAN + second)
    assert steps["clean/swab"]["stage"] == steps["clean/dry"]["stage"] == "found-clean"
    assert [c["hazard"] for c in steps["clean/swab"]["cautions"]] == ["mains", "solvent"]
    assert steps["clean/dry"]["cautions"] == []


def test_what_did_not_apply_is_no_step_of_it(tmp_path: Path) -> None:
    assert "found" not in steps_at(tmp_path, left_out="found")
    assert "clean/swab" not in steps_at(tmp_path, left_out="clean")


def test_broken_copies_are_no_error(tmp_path: Path) -> None:
    assert "found" in steps_at(tmp_path, clean="step = [")
    assert steps_at(tmp_path, 'step = [1, {}, {id = 3}, {id = "a", kind = "follow"}]') == {}
    assert steps_at(tmp_path, '[[step]]\nid = "a"\nkind = "follow"\nprocedure = "line-up"\n') == {}
    assert copied_steps({"inputs": "none", "job": 3}, tmp_path) == []


def test_a_procedure_followed_in_each_direction_has_its_steps_twice(tmp_path: Path) -> None:
    changed = PROCEDURE.replace('procedure = "clean"\n', 'procedure = "clean"\neach_direction = true\n')
    assert list(steps_at(tmp_path, changed))[:3] == ["dirty", "clean/swab", "found"]
    steps = steps_at(tmp_path, changed, CLEAN, "clean-forward/swab")
    assert list(steps)[:4] == ["dirty", "clean-forward/swab", "clean-reverse/swab", "found"]
    assert steps["clean-forward/swab"]["title"] == "Swab heads, capstan and pinch roller, forward"
    assert steps["clean-reverse/swab"]["title"] == "Swab heads, capstan and pinch roller, reverse"
