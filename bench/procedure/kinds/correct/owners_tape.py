"""A tape from elsewhere: its tone relative to its label, and what its programme's treble shows about equalisation."""

from __future__ import annotations

from dataclasses import replace

from bench.measure.reading import NoReading, Result
from bench.procedure.kinds.correct.reference_tape import difference
from bench.procedure.model.job import Job
from bench.tape.fluxivity import Fluxivity, ratio_db

NO_LABEL = "the flux on its label was not typed, and without it a level says nothing"


def relative_to_label(level: Result, job: Job, flux_nwb_m: float) -> Result:
    """`tape_level`: the level of a tone on the tape, relative to the flux on its label.

    It combines the recording by the other machine and the replay by this one, as a decoder receives it. The flux on
    the label is taken to be by the same measuring method as the reference level of this machine.

    Args:
        level: the raw reading.
        job: it names the machine.
        flux_nwb_m: flux on the label; 0 where none was typed.
    """
    if not flux_nwb_m > 0:
        return NoReading("tape_level", level.channel, NO_LABEL, frequency_hz=level.frequency_hz)
    machine = job.machine.reference.fluxivity
    expected = job.replay_dbfs + ratio_db(Fluxivity(flux_nwb_m, machine.method), machine)
    out = difference("tape_level", level, expected, 0.0, reference="its label")
    return replace(out, method=replace(out.method, label_nwb_m=flux_nwb_m))


def with_equalisation(fall: Result, job: Job, shell: str) -> Result:
    """`treble_fall` with the probability that the tape was recorded with the other time constant.

    Args:
        fall: the raw reading.
        job: it names the machine that replays.
        shell: the answer to the entry about the shell.
    """
    from bench.tape.programme_treble import Shell, other_probability, other_time_constant  # only this step needs it

    if isinstance(fall, NoReading):
        return fall
    played = job.machine.equalisation_us[0]
    shells: dict[str, Shell] = {"type I": "I", "type II or IV": "II or IV"}
    seen = shells.get(shell, "")
    likely = other_probability(fall.value, fall.uncertainty, played, seen)
    if likely is None:
        return fall
    method = replace(fall.method, played_us=played, other_us=other_time_constant(played), other_percent=100 * likely)
    return replace(fall, method=method)
