"""What was wrong with the machine of a session."""

from __future__ import annotations

from functools import lru_cache

from bench.diagnosis.answer import Diagnosis, diagnose
from bench.diagnosis.machine import Machine, machine_of
from bench.diagnosis.readings.records import answers_of, findings_of
from bench.problem import Problem
from bench.session.record.inputs import machine_sheet
from bench.session.record.record import SessionRecord

FEWEST = 8
"""With fewer readings that tell of causes nothing is said of them unasked."""


def diagnosis_of(session: SessionRecord) -> tuple[Diagnosis, Machine]:
    """The diagnosis, and the machine as its sheet gives it."""
    sheet = machine_sheet(session.folder, session.inputs)
    facts = {k: v for k, v in sheet.items() if k != "practice"} | ({} if sheet else {"heads": session.job.heads})
    machine = machine_of(facts, str(session.folder))
    findings = findings_of(session.readings, adjusted=session.adjusted)
    return diagnose(machine, findings, answers_of(session.events)), machine


@lru_cache(maxsize=1)
def worth_telling(session: SessionRecord) -> Diagnosis | None:
    """The diagnosis of a session; None where too little was read, or its copy of the sheet is no machine's.

    The last one is kept: report, screen and command ask for it one after another when a job ends.
    """
    try:
        found, _ = diagnosis_of(session)
    except Problem:
        return None
    return found if found.readings >= FEWEST else None
