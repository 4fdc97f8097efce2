"""Mutation testing: small faults are planted in a module, one at a time, and its nearest tests must find them.

    python -m tests.mutation bench/signals/start_mark.py tests/signals/test_start_mark.py

It needs `pip install -e ".[test,mutation]"`. It works on a copy, prints each fault that no test found, and ends with
the share that was found. The tool plants faults only inside functions; constants outside them need their own tests.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
ENOUGH = 0.85
"""A smaller share is a failure. A choice: some faults change nothing that can be observed."""


def survivors(module: str, tests: list[str]) -> Iterator[tuple[str, str]]:
    """Plant each fault in a copy of the project, and report the result.

    Args:
        module: its path from the project's folder.
        tests: paths of test files, also from there. Each fault costs one run of those that reach its function.

    Yields:
        The fault as changed lines, empty where it was found, and the tool's word for the result.
    """
    options = {
        "source_paths": ["bench"],
        "only_mutate": [module],
        "also_copy": ["procedures", "sessions", "README.md", "DEVELOPERS.md", ".importlinter"],
        "pytest_add_cli_args_test_selection": tests,
        "timeout_multiplier": ["10"],
        "timeout_constant": ["5"],
    }
    with tempfile.TemporaryDirectory(prefix="mutation-") as name:
        folder = Path(name)
        for path in ("bench", "tests", "pyproject.toml", *options["also_copy"]):
            copy = shutil.copytree if (ROOT / path).is_dir() else shutil.copy
            copy(ROOT / path, folder / path)
        lines = [f"{key} =\n" + "".join(f"    {value}\n" for value in values) for key, values in options.items()]
        (folder / "setup.cfg").write_text("[mutmut]\n" + "".join(lines), encoding="utf-8")
        # Import the modules of the copy, not those of the current folder.
        environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}

        def mutmut(*arguments: str) -> str:
            command = ("mutmut", *arguments)
            ran = subprocess.run(command, cwd=folder, env=environment, check=False, stdout=subprocess.PIPE, text=True)
            if ran.returncode:
                raise SystemExit(ran.stdout)
            return ran.stdout

        mutmut("run", "--max-children", "1")
        for line in mutmut("results", "--all", "true").splitlines():
            fault, _, status = line.strip().rpartition(": ")
            found = status in ("killed", "timeout")
            yield "" if found else "\n".join(t for t in mutmut("show", fault).splitlines() if t[:1] in "-+@#"), status


def main(module: str, tests: list[str]) -> int:
    """Print the faults that were not found, and the share that was. The exit code is 0 when the share is enough."""
    faults = list(survivors(module, tests))
    missed = [f"{shown}\n" for shown, _ in faults if shown]
    share = 1.0 - len(missed) / len(faults)
    print(
        *missed, f"{module}: {len(faults)} faults planted, {len(missed)} not found: {100 * share:.0f} % found", sep="\n"
    )
    return 0 if share >= ENOUGH else 1


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1], sys.argv[2:]))
