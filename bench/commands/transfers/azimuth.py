"""Reads the azimuth delay of a capture from its programme, for `--azimuth-delay programme`."""

from __future__ import annotations

import time
from dataclasses import replace

from bench.audio.capture import Capture
from bench.commands.transfers.options import ChosenErrors
from bench.commands.transfers.progress import Progress
from bench.problem import Problem


def with_course(chosen: ChosenErrors, capture: Capture) -> ChosenErrors:
    """The chosen errors, with the delay along the tape that the capture shows.

    Raises:
        Problem: the capture has one channel, or its programme shows no delay.
    """
    from bench.transfer.azimuth_course import CourseReader
    from bench.transfer.errors import ONE_CHANNEL

    if capture.channels < 2:
        raise Problem(ONE_CHANNEL)
    reader = CourseReader(capture.sample_rate)
    with Progress("reading azimuth", capture.duration_s, time.monotonic()) as progress:
        for block in progress.through(capture):
            reader.feed(block)
    course = reader.course()
    if isinstance(course, str):
        raise Problem(
            f"the programme of {capture.name} shows no azimuth delay: {course}; type the delay, or leave "
            "--azimuth-delay out"
        )
    errors = replace(chosen.errors, azimuth_delay_us=course.mean_us, azimuth_course=course)
    return replace(chosen, errors=errors, azimuth_known=True)
