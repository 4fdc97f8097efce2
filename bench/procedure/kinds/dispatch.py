"""Which activity carries out a step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bench.problem import Problem
from bench.procedure.model import steps

if TYPE_CHECKING:
    from typing import Any

    from bench.procedure.kinds.activity import Activity, Situation


def activity_for(step: steps.StepBase, situation: Situation) -> Activity[Any]:
    """The activity of a step. Raises `Problem` for a kind that the runner never meets (`follow` is expanded)."""
    if isinstance(step, steps.ByHand):
        from bench.procedure.kinds.by_hand.by_hand import ByHandActivity

        return ByHandActivity(step, situation)
    if isinstance(step, steps.Entry | steps.SignOff):
        from bench.procedure.kinds.by_hand.entry import AskingActivity

        return AskingActivity(step, situation)
    if isinstance(step, steps.Reference):
        from bench.procedure.kinds.listen.reference import ReferenceActivity

        return ReferenceActivity(step, situation)
    if isinstance(step, steps.RecordReplay):
        from bench.procedure.kinds.listen.record_replay import RecordReplayActivity

        return RecordReplayActivity(step, situation)
    if isinstance(step, steps.Adjust):
        return _adjusting(step, situation)
    if isinstance(step, steps.Measure):
        return _measuring(step, situation)
    if isinstance(step, steps.InterfaceStep):
        from bench.procedure.kinds.measure.interface_loop import InterfaceActivity

        return InterfaceActivity(step, situation)
    if isinstance(step, steps.Decision):
        from bench.procedure.kinds.by_hand.decision import DecisionActivity

        return DecisionActivity(step, situation)
    if isinstance(step, steps.Question):
        from bench.procedure.kinds.by_hand.question import QuestionActivity

        return QuestionActivity(step, situation)
    raise Problem(f"step {step.id}: this kind of step cannot be run")


def _adjusting(step: steps.Adjust, situation: Situation) -> Activity[Any]:
    """Live, by rounds or by a ladder: as the step says, else live where the machine replays while it records."""
    via = step.via
    if via is None:
        via = "rounds" if step.sends and situation.job.machine.heads == 2 else "live"
    if via == "live":
        from bench.procedure.kinds.adjust.live import LiveAdjustActivity

        return LiveAdjustActivity(step, situation)
    if via == "ladder" or step.quantity == "overbias":  # a peak is found by positions on both sides of it
        from bench.procedure.kinds.adjust.ladder import LadderActivity

        return LadderActivity(step, situation)
    from bench.procedure.kinds.adjust.rounds import RoundsActivity

    return RoundsActivity(step, situation)


def _measuring(step: steps.Measure, situation: Situation) -> Activity[Any]:
    """One stretch of sound; or what is erased, worked out, or read twice for its quantity."""
    if step.quantity == "mistracking":
        from bench.procedure.kinds.measure.mistracking import MistrackingActivity

        return MistrackingActivity(step, situation)
    if step.quantity in steps.CIRCUIT:
        from bench.procedure.kinds.measure.encoder_decoder import EncoderDecoderActivity

        return EncoderDecoderActivity(step, situation)
    if step.erases:
        from bench.procedure.kinds.measure.erasure import ErasureActivity

        return ErasureActivity(step, situation)
    from bench.procedure.kinds.measure.measure import MeterActivity, RecordedMeterActivity

    return RecordedMeterActivity(step, situation) if steps.records(step) else MeterActivity(step, situation)
