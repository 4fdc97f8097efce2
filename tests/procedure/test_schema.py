"""The schema for editors is the model's own, not last year's."""

from __future__ import annotations

import json

from bench.procedure.schema import schema_text
from bench.workspace import shipped_procedures


def test_the_shipped_schema_is_not_stale() -> None:
    shipped = (shipped_procedures() / "procedure.schema.json").read_text(encoding="utf-8")
    assert shipped == schema_text(), (
        "write it anew: python -m bench.procedure.schema > procedures/procedure.schema.json"
    )


def test_it_tells_an_editor_the_kinds_of_step_and_what_keys_mean() -> None:
    schema = json.loads(schema_text())
    kinds = schema["properties"]["step"]["items"]["discriminator"]["mapping"]
    assert {"by-hand", "reference", "adjust", "record-replay", "measure", "entry", "follow", "sign-off"} <= set(kinds)
    assert schema["$defs"]["ByHand"]["properties"]["why"]["description"] == "For the trainee."
    assert schema["$defs"]["ByHand"]["additionalProperties"] is False
