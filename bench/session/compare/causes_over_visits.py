"""What was wrong at each visit of a machine, and whether it has come back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.diagnosis.output.page import PROBABLE, odds_text, suspect_text
from bench.problem import Problem
from bench.session.compare.diagnosis import diagnosis_to_show
from bench.session.record.reader import read_session
from bench.words.dates import day


def visit_lines(folders: Sequence[Path]) -> list[str]:
    """A line for each likely cause of each visit, the oldest visit first."""
    lines, before = ["What was wrong at each visit"], set[str]()
    for folder in folders:
        try:
            session = read_session(folder)
        except Problem as problem:
            lines.append(problem.sentence)
            continue
        found = diagnosis_to_show(session)
        likely = [s for s in found.suspects if s.probability >= PROBABLE] if found else []
        for s in likely:
            again = "; it has come back" if s.name in before else ""
            lines.append(f"{day(session.begun)}  {suspect_text(s)}: {odds_text(s.probability)}{again}")
        if not likely:
            told = "nothing stands out" if found else "too little was read to say"
            told += ", but it needed lining up" if found and found.out_of_adjustment else ""
            lines.append(f"{day(session.begun)}  {told}")
        before |= {s.name for s in likely}
    return lines
