"""What a run has measured: each quantity as found and at present, those that are not in first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bench.measure.catalogue import QUANTITIES
from bench.measure.verdict import Verdict, rank
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.outcome import last_attempts
from bench.session.compare.subject import Subject, in_order, subject_of


@dataclass(frozen=True, slots=True)
class FoundAndNow:
    """One quantity of one source, channel and tone."""

    subject: Subject
    found: ReadingRecord | None
    """The last reading at an as-found stage; None without one."""
    now: ReadingRecord | None
    """The last reading since then; None where it was read only as found."""

    @property
    def latest(self) -> ReadingRecord:
        """The reading that shows the present state of the machine."""
        record = self.now or self.found
        assert record is not None
        return record

    @property
    def verdict(self) -> Verdict | None:
        """Its verdict; None where it has no target."""
        return self.latest.verdict


def results_of(records: Iterable[ReadingRecord]) -> tuple[FoundAndNow, ...]:
    """Every quantity that was read, in the order of `in_order`; components of wow and flutter are left out.

    What was judged is not superseded by a reading without a target, such as that of the reference tone of a response.
    """
    by_subject: dict[Subject, dict[bool, ReadingRecord]] = {}
    for record in last_attempts(tuple(records)):
        subject = subject_of(record)
        if subject is not None and QUANTITIES[subject.quantity].drawn != "lines":
            read, left = by_subject.setdefault(subject, {}), record.stage == "left"
            if left not in read or record.verdict is not None or read[left].verdict is None:
                read[left] = record
    return tuple(
        FoundAndNow(subject, read.get(False), read.get(True))
        for subject, read in sorted(by_subject.items(), key=lambda item: in_order(item[0]))
    )


def worst_first(results: Iterable[FoundAndNow]) -> list[FoundAndNow]:
    """Results in the order out, too close to call, no reading, in, not judged."""
    return sorted(results, key=lambda r: rank(r.verdict))
