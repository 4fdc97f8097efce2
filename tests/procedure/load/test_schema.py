"""The committed schemas for editors agree with the models."""

from __future__ import annotations

import json

import pytest

from bench.procedure.load.reader import SHEETS
from bench.procedure.load.schema import MODELS, main, schema_text
from bench.workspace import shipped_procedures


@pytest.mark.parametrize("kind", MODELS)
def test_no_shipped_schema_is_stale(kind: str) -> None:
    shipped = shipped_procedures() / MODELS[kind][0]
    assert shipped.read_text(encoding="utf-8") == schema_text(kind), (
        "write them anew: python -m bench.procedure.load.schema --write procedures"
    )


def test_procedures_and_every_kind_of_sheet_have_one() -> None:
    assert set(MODELS) == {"procedure", *SHEETS}
    shipped = {p.relative_to(shipped_procedures()).as_posix() for p in shipped_procedures().rglob("*.schema.json")}
    assert shipped == {place for place, _ in MODELS.values()}


def test_one_is_printed_by_its_kind(capsys: pytest.CaptureFixture[str]) -> None:
    main(["tape"])
    assert json.loads(capsys.readouterr().out)["title"] == "Tape"
    main([])
    assert json.loads(capsys.readouterr().out)["title"] == "Procedure"


def test_it_tells_an_editor_the_kinds_of_step_and_what_keys_mean() -> None:
    schema = json.loads(schema_text())
    kinds = schema["properties"]["step"]["items"]["discriminator"]["mapping"]
    assert {"by-hand", "reference", "adjust", "record-replay", "measure", "entry", "follow", "sign-off"} <= set(kinds)
    assert {"decision", "question"} <= set(kinds)
    assert schema["$defs"]["ByHand"]["properties"]["why"]["description"] == "For the trainee."
    assert schema["$defs"]["ByHand"]["additionalProperties"] is False
