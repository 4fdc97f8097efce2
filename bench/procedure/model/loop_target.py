"""The limit of a step that measures the interface, as a target like any other."""

from __future__ import annotations

from bench.procedure.model.steps import InterfaceStep
from bench.procedure.model.targets import Target


def loop_target(step: InterfaceStep) -> Target:
    """The limit of a step that measures the interface, as a target."""
    match step.finds:
        case "full-scale":
            return Target(at_least=step.limit, unit="V", source=step.source)
        case "channels":
            return Target(at_least=step.limit, unit="dB", source=step.source)
        case "noise":
            return Target(at_most=step.limit, unit="dBFS", source=step.source)
        case "distortion":
            return Target(at_most=step.limit, unit="%", source=step.source)
        case "clock":
            return Target(value=0.0, tolerance=step.limit, unit="ppm", source=step.source)
        case _:
            return Target(value=0.0, tolerance=step.limit, unit="dB", source=step.source)
