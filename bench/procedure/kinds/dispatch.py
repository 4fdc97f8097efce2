"""Chooses the activity of a step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.problem import Problem
from bench.procedure.model import exercise_steps, steps

if TYPE_CHECKING:
    from typing import Any

    from bench.procedure.kinds.activity import Activity
    from bench.procedure.kinds.bench import Bench


def activity_for(step: steps.StepBase, bench: Bench) -> Activity[Any]:
    """The activity of a step. Raises `Problem` for a kind that no job contains (`follow` is expanded)."""
    if isinstance(step, steps.ByHand):
        from bench.procedure.kinds.by_hand.by_hand import ByHandActivity

        return ByHandActivity(step, bench)
    if isinstance(step, steps.Entry) and step.reads is not None:
        from bench.procedure.kinds.by_hand.read_point import ReadPointActivity

        return ReadPointActivity(step, bench)
    if isinstance(step, steps.Entry | steps.SignOff):
        from bench.procedure.kinds.by_hand.entry import EntryActivity

        return EntryActivity(step, bench)
    if isinstance(step, steps.Reference):
        from bench.procedure.kinds.listen.reference import ReferenceActivity

        return ReferenceActivity(step, bench)
    if isinstance(step, steps.RecordReplay):
        from bench.procedure.kinds.listen.record_replay import RecordReplayActivity

        return RecordReplayActivity(step, bench)
    if isinstance(step, steps.Adjust):
        return _adjusting(step, bench)
    if isinstance(step, steps.Measure):
        return _measuring(step, bench)
    if isinstance(step, steps.InterfaceStep):
        from bench.procedure.kinds.measure.interface_loop import InterfaceActivity

        return InterfaceActivity(step, bench)
    if isinstance(step, steps.Decision):
        from bench.procedure.kinds.by_hand.decision import DecisionActivity

        return DecisionActivity(step, bench)
    if isinstance(step, steps.Question):
        from bench.procedure.kinds.by_hand.question import QuestionActivity

        return QuestionActivity(step, bench)
    if isinstance(step, exercise_steps.NameCauses):
        from bench.procedure.kinds.by_hand.name_causes import NameCausesActivity

        return NameCausesActivity(step, bench)
    if isinstance(step, exercise_steps.ChooseTest):
        from bench.procedure.kinds.by_hand.choose_test import ChooseTestActivity

        return ChooseTestActivity(step, bench)
    raise Problem(f"step {step.id}: this kind of step cannot be run")


def _adjusting(step: steps.Adjust, bench: Bench) -> Activity[Any]:
    """Live, by rounds or by a ladder, as the step says; by default live where the machine replays while it records."""
    via = step.via
    if via is None:
        waits = step.sends and bench.job.machine.heads == 2 and step.quantity != "source_level"
        via = "rounds" if waits else "live"
    if via == "live":
        from bench.procedure.kinds.adjust.live import LiveAdjustActivity

        return LiveAdjustActivity(step, bench)
    if via == "ladder" or step.quantity == "overbias":  # a peak needs positions on both sides of it
        from bench.procedure.kinds.adjust.ladder import LadderActivity

        return LadderActivity(step, bench)
    from bench.procedure.kinds.adjust.rounds import RoundsActivity

    return RoundsActivity(step, bench)


def _measuring(step: steps.Measure, bench: Bench) -> Activity[Any]:
    """By quantity: computed, measured twice, erased, recorded, or simply played."""
    if step.quantity == "mistracking":
        from bench.procedure.kinds.measure.mistracking import MistrackingActivity

        return MistrackingActivity(step, bench)
    if step.quantity in steps.CIRCUIT:
        from bench.procedure.kinds.measure.encoder_decoder import EncoderDecoderActivity

        return EncoderDecoderActivity(step, bench)
    if step.erases:
        from bench.procedure.kinds.measure.erasure import ErasureActivity

        return ErasureActivity(step, bench)
    from bench.procedure.kinds.measure.measure import MeterActivity, RecordedMeterActivity

    return RecordedMeterActivity(step, bench) if steps.records(step) else MeterActivity(step, bench)
