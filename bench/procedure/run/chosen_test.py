"""What is done in mid-exercise beside the job.

A test is chosen and its steps are run; then the step of the job that was broken off begins again.
"""

from __future__ import annotations

from typing import Any

from bench.problem import Problem
from bench.procedure.kinds.activity import Activity
from bench.procedure.kinds.by_hand.choose_test import ChooseTestActivity
from bench.procedure.model.exercise_steps import ChooseTest
from bench.procedure.model.job import Job, JobStep


class ChosenTest:
    """The steps that come before the job goes on; none at most times."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._steps: tuple[JobStep, ...] = ()

    @property
    def step(self) -> JobStep | None:
        """The current one; None where the job itself is on."""
        return self._steps[0] if self._steps else None

    def refuse(self) -> None:
        """Raise `Problem` where no test can be chosen now."""
        if not self._job.tests:
            raise Problem("there are no tests to choose from here; an exercise has them")
        if self._steps:
            raise Problem("a test is being run; finish it, or go back to the step")

    def begin(self) -> None:
        """Ask which test."""
        self._steps = (
            ChooseTest(
                kind="choose-test",
                id="choose-test",
                title="A test that tells two causes apart",
                do="Choose a test that would read differently if you were wrong.",
                why="Two causes can give the same curve. A test that reads differently for each of them settles it.",
                tests=tuple(self._job.tests),
                stage="found-clean",
            ),
        )

    def step_over(self, activity: Activity[Any] | None) -> bool:
        """Go on with the steps of the test that was chosen, or with the next of them; False where no test is on."""
        if not self._steps:
            return False
        test = activity.test if isinstance(activity, ChooseTestActivity) else ""
        self._steps = (*self._job.tests.get(test, ()), *self._steps[1:])
        return True

    def stop(self) -> bool:
        """Back to the job; False where no test is on."""
        was_on, self._steps = bool(self._steps), ()
        return was_on
