"""`tapebench validate`: every problem of procedures and sheets."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from bench.check_files import check_files
from bench.procedure.load.file_problems import Finding
from bench.procedure.load.validate import files_in
from bench.words.sentences import counted
from bench.workspace import find_workspace


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument(
        "files", nargs="+", type=Path, metavar="FILE|DIR", help="procedures, sheets, or folders of them"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Print each problem on a line, `file:line: key: message; remedy`. 0: none; 1: problems; 2: missing files."""
    workspace = find_workspace(args.workspace)
    files = files_in(args.files)
    findings = check_files(files, workspace)
    if args.json:
        print(json.dumps({"files": len(files), "findings": [_plain(f) for f in findings]}, ensure_ascii=False))
    else:
        for finding in findings:
            print(finding.sentence)
    lines = counted(len(findings), "problem") if findings else "no problem"
    print(f"{counted(len(files), 'file')}: {lines}", file=sys.stderr)
    return 1 if findings else 0


def _plain(finding: Finding) -> dict[str, object]:
    return {
        "file": str(finding.file),
        "line": finding.line,
        "key": finding.key,
        "message": finding.message,
        "remedy": finding.remedy,
    }
