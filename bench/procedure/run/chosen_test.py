"""The test that a trainee runs in mid-exercise, outside the job.

A test is chosen and its steps are run; then the interrupted step of the job starts again.
"""

from __future__ import annotations

from typing import Any

from bench.problem import Problem
from bench.procedure.kinds.activity import Activity
from bench.procedure.kinds.by_hand.choose_test import ChooseTestActivity
from bench.procedure.model.exercise_steps import ChooseTest
from bench.procedure.model.job import Job, JobStep


class ChosenTest:
    """The steps to run before the job goes on; usually none."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._steps: tuple[JobStep, ...] = ()

    @property
    def step(self) -> JobStep | None:
        """The current step of a test; None while the job itself is running."""
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
        """Go on to the first step of the test just chosen, or to its next one. Returns whether a test was on."""
        if not self._steps:
            return False
        test = activity.test if isinstance(activity, ChooseTestActivity) else ""
        self._steps = (*self._job.tests.get(test, ()), *self._steps[1:])
        return True

    def stop(self) -> bool:
        """Return to the job. Returns whether a test was on."""
        was_on, self._steps = bool(self._steps), ()
        return was_on
