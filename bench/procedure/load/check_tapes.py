"""Checks of the lots of one file: several tapes that are compared, and ranked at the end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from bench.procedure.load.file_problems import Mistake, StepMistake, quoted
from bench.procedure.model.steps import ByHand, Measure, Step, StepBase, records


def check_lots(steps: Sequence[Step | None]) -> list[Mistake]:
    """Every mistake that would make a ranking compare the wrong things.

    Args:
        steps: of one file; None for one that is not understood, in which case nothing is reported as missing.
    """
    by_id = {step.id: step for step in steps if isinstance(step, StepBase)}
    whole = None not in steps
    spelt: dict[str, str] = {}
    put_in: set[str] = set()
    reported: set[str] = set()
    out: list[Mistake] = []
    for n, step in enumerate(steps):
        if not isinstance(step, StepBase):
            continue
        if isinstance(step, ByHand) and "load-work-tape" in step.does:
            put_in.add(step.lot.casefold())
        findings = [*_of_another(step, by_id)]
        if step.lot:
            findings += _spelling(step.lot, spelt.setdefault(step.lot.casefold(), step.lot))
            if whole and records(step) and step.lot.casefold() not in put_in | reported:
                reported.add(step.lot.casefold())
                remedy = 'before it, a by-hand step with the same lot and `does = ["load-work-tape"]`'
                findings.append((("lot",), f"nobody puts {quoted(step.lot)} in before it is recorded on", remedy, ()))
        out += [Mistake(("step", n, *key), message, remedy, about) for key, message, remedy, about in findings]
    return out


def _spelling(lot: str, first: str) -> Iterator[StepMistake]:
    if lot != first:
        said = f"{quoted(lot)} and {quoted(first)} would be ranked as two tapes"
        yield ("lot",), said, f"write {quoted(first)} at each of its steps", ()


def _of_another(step: StepBase, by_id: Mapping[str, StepBase]) -> Iterator[StepMistake]:
    """The figures of one tape must not be computed from readings of another."""
    if not isinstance(step, Measure):
        return
    for m, name in enumerate(step.of):
        other = by_id.get(name)
        if other is not None and other.lot and other.lot.casefold() != step.lot.casefold():
            whose = quoted(step.lot) if step.lot else "no lot"
            said = f"{quoted(name)} is of {quoted(other.lot)}, this step of {whose}"
            yield ("of", m), said, "name steps of the same lot", ()
