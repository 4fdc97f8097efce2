"""Which setting of a machine serves each tape of a job, and which reference tape goes with it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.procedure.load.file_problems import Mistake, quoted
from bench.procedure.model.job import TapeSetting
from bench.procedure.model.sheets import Machine, ReferenceTape, Tape


def tape_settings(
    of_machine: tuple[Path, Machine],
    tapes: Sequence[tuple[Path, Tape]],
    reference_tapes: Sequence[tuple[Path, ReferenceTape]],
) -> tuple[list[TapeSetting], list[Mistake]]:
    """Pair each tape with the settings for its type, in the order of tapes and settings.

    A machine sheet without settings serves one tape, of any type. A reference tape serves a setting of its speed. One
    with the same equalisation is preferred, because another is valid as it is only for level, azimuth and speed.
    """
    path, machine = of_machine
    out: list[TapeSetting] = []
    mistakes: list[Mistake] = []
    taken: set[str] = set()
    for n, (tape_path, tape) in enumerate(tapes):
        at = ("other_tapes", n - 1) if n else ("tape",)
        machines = [machine.at(s) for s in machine.setting if tape.iec_type in s.tape_type]
        if not machine.setting and n == 0:
            machines = [machine]
        if not machines:
            said = f"the machine sheet {quoted(path.stem)} has no setting for {quoted(tape_path.stem)}"
            remedy = f'add a [[setting]] with tape_type = ["{tape.iec_type}"], or leave this tape out'
            mistakes.append(Mistake(at, said, remedy))
        for serving in machines:
            name = serving.setting[0].name if serving.setting else ""
            if name in taken:
                said = f"{quoted(tape_path.stem)} is a second tape for the setting {quoted(name)}"
                mistakes.append(Mistake(at, said, "a machine is lined up for one tape at each setting: name one"))
                continue
            taken.add(name)
            reference_path, reference = _reference_for(serving, reference_tapes)
            names = {"machine": path.stem, "tape": tape_path.stem, "reference-tape": reference_path.stem}
            out.append(TapeSetting(name if out else "", serving, tape, reference, names))
    return out, mistakes


def _reference_for(machine: Machine, tapes: Sequence[tuple[Path, ReferenceTape]]) -> tuple[Path, ReferenceTape]:
    def fits(tape: ReferenceTape) -> tuple[bool, bool]:
        return tape.speed_mm_s == machine.speed_mm_s, tape.equalisation_us == machine.equalisation_us

    return max(tapes, key=lambda found: fits(found[1]))  # the first of the best; a wrong speed is reported as such
