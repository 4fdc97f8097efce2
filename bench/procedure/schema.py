"""The JSON Schema of procedure files, for editors that complete and check while one types.

`python -m bench.procedure.schema > procedures/procedure.schema.json` writes it anew.
"""

from __future__ import annotations

import json

from bench.procedure.steps import Procedure


def schema_text() -> str:
    """The schema as the file has it."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **Procedure.model_json_schema()}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    print(schema_text(), end="")
