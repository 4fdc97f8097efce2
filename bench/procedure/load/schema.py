"""The JSON Schemas of procedures and sheets, for editors that complete and check as you type.

`python -m bench.procedure.load.schema` prints the schema of procedures, or of the kind of sheet that is its argument;
`python -m bench.procedure.load.schema --write procedures` writes all of them.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from bench.procedure.load.reader import SHEETS
from bench.procedure.model.procedure import Procedure
from bench.procedure.model.steps import Strict

MODELS: dict[str, tuple[str, type[Strict]]] = {
    "procedure": ("procedure.schema.json", Procedure),
    **{kind: (f"sheets/{kind}.schema.json", model) for kind, (_, model) in SHEETS.items()},
}
"""Schema file of each kind of file, in the folder of procedures, and its model."""


def schema_text(kind: str = "procedure") -> str:
    """The schema of a kind of file, as text."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **MODELS[kind][1].model_json_schema()}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def main(arguments: list[str]) -> None:
    """Print one schema, or write all of them."""
    match arguments:
        case ["--write", folder]:
            for kind, (place, _) in MODELS.items():
                (Path(folder) / place).write_text(schema_text(kind), encoding="utf-8", newline="\n")
        case [] | [_]:
            print(schema_text(*arguments), end="")


if __name__ == "__main__":
    main(sys.argv[1:])
