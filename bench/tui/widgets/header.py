"""The header: the job, the sound coming in and going out, and the step. Always visible."""

from __future__ import annotations

from rich.cells import cell_len

from bench.figures import hertz, number
from bench.procedure.state.snapshot import InputView, JobView, StepView
from bench.tui.text import cell, plain
from bench.tui.widgets.line_widget import Line, LineWidget, bar_line, clip_line, justified, line_width
from bench.words.names import STAGES

METER_LOW_DBFS = -60.0
METER_HIGH_MARK_DBFS = -6.0
LEAST_BAR = 5
"""Cells below which a bar shows less than its figure."""


def job_lines(job: JobView, width: int) -> list[Line]:
    """Machine, tape and reference tape; speed, equalisation and reference level."""
    things = [plain(thing) for thing in (job.machine, job.tape, job.reference_tape) if thing]
    first: Line = []
    for n, thing in enumerate(_shortened(things, width - 3 * (len(things) - 1))):
        first += [(" · ", "rule")] if first else []
        first.append((thing, "strong" if n == 0 else ""))
    second: Line = [
        (f"{plain(job.speed)} · {plain(job.equalisation)} · 0 dB is {plain(job.reference_level)}", "quiet"),
    ]
    return [clip_line(first, width), clip_line(second, width)]


def _shortened(names: list[str], width: int) -> list[str]:
    """Names that together fit in `width` cells: the longest are cut first, so that they can still be distinguished."""
    sizes = [cell_len(name) for name in names]
    while sum(sizes) > width and max(sizes) > 1:
        sizes[sizes.index(max(sizes))] -= 1
    return [cell(name, size).rstrip() for name, size in zip(names, sizes, strict=True)]


def sound_line(sound: InputView, sending: str, width: int, figures: tuple[float | None, ...] = ()) -> Line:
    """A meter for each channel, and in words what is wrong with the sound, or its source.

    Args:
        sound: the input.
        sending: what is being sent, in words.
        width: cells.
        figures: peaks to print next to the bars, because the latest ones change too fast to read.
    """
    state: Line
    if trouble := sound_trouble(sound) or (sound_warning(sound) if sound.lost else ""):
        state = [("! " + trouble, "caution")]
    elif sending:
        state = [("▶ " + plain(sending), "accent")]
    elif sound.hum is not None:
        state = [(f"! {hertz(sound.hum.mains_hz)} hum, {number(sound.hum.dbfs, 0)} dBFS", "caution")]
    else:
        state = [(plain(sound.port.name), "quiet")]
    names = ["L", "R"] if len(sound.peak_dbfs) == 2 else ["M"] * len(sound.peak_dbfs)
    meter = 12 if width < 100 else 24
    left: Line = [("peak dBFS  " if sound.peak_dbfs else "no sound yet", "quiet")]
    for n, (name, peak) in enumerate(zip(names, sound.peak_dbfs, strict=True)):
        shown = figures[n] if n < len(figures) else peak
        left += [(f"{name} ", ""), *_meter(peak, meter), (cell(_peak(shown), 6, "right") + "  ", "")]
    return justified(left, clip_line(state, max(width - line_width(left) - 1, 10)), width)


def sound_trouble(sound: InputView) -> str:
    """What makes the input unusable; "" if nothing does."""
    port = sound.port
    if port.state == "lost":
        return "device lost"
    if port.state == "stalled":
        return "no sound comes"
    if port.state == "closed":
        return ""
    if sound.clipping:
        return "clipping"
    if port.state == "ended":
        return "the file is over"
    if sound.silent:
        return "silence"
    return ""


def sound_warning(sound: InputView) -> str:
    """Why a reading should be doubted although it is valid: one channel only, or mains hum."""
    if sound.lost:
        return "sound was lost: the computer is busy"
    if sound.only:
        return f"{sound.only} channel only"
    return f"hum, {number(sound.hum.below_db, 0)} dB under" if sound.hum is not None else ""


def _peak(peak: float | None) -> str:
    return "–" if peak is None else number(peak, 1)


def _meter(peak: float | None, width: int) -> Line:
    part = 0.0 if peak is None else (peak - METER_LOW_DBFS) / -METER_LOW_DBFS
    halves = round(max(0.0, min(1.0, part)) * width * 2)
    bar = "━" * (halves // 2) + ("╸" if halves % 2 else "")
    hot = round((METER_HIGH_MARK_DBFS - METER_LOW_DBFS) / -METER_LOW_DBFS * width)
    rest = "".join("┊" if x == hot else "─" for x in range(len(bar), width))
    return [(bar, "meter"), (rest, "rule")]


def _where(step: StepView) -> str:
    """The stage, the direction of the tape, and which tape it is."""
    places_text = [STAGES[step.stage] if step.stage != "left" else "", step.direction, plain(step.lot)]
    return ", ".join(s for s in places_text if s)


def title_line(step: StepView | None, width: int) -> Line:
    """The step's title, and its progress in the procedure."""
    if step is None:
        return [("─" * width, "rule")]
    title: Line = [(" " + plain(step.title), "bar")]
    where: Line = [(f"  {_where(step)}", "bar-quiet")]
    count: Line = [(f"step {step.index} of {step.total} ", "bar-quiet")]
    room = width - line_width(where) - line_width(count) - 1
    bar = min(13 if width < 100 else 25, room - line_width(title))
    return bar_line([*clip_line(title, max(room, 10)), *where], [*count, *_progress(step, bar)], width)


def _progress(step: StepView, cells: int) -> Line:
    """Progress through the procedure, as a bar; empty where the title needs the room."""
    if cells < LEAST_BAR:
        return []
    gone = round((step.index - 1) / max(1, step.total) * (cells - 1))
    return [("━" * gone + "╸", "progress"), ("─" * (cells - gone - 2) + " ", "bar-quiet")]


class JobStrip(LineWidget):
    """Two lines: the job."""

    job: JobView | None = None

    def show(self, job: JobView) -> None:
        """Show a job."""
        if job != self.job:
            self.job = job
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return job_lines(self.job, width)[:height] if self.job else []


class SoundStrip(LineWidget):
    """One line: the sound coming in and going out."""

    _shown: tuple[InputView, str] | None = None
    _figures: tuple[float | None, ...] = ()

    def show(self, sound: InputView, sending: str, *, figures: bool = True) -> None:
        """Show the input; without `figures` only the bars change."""
        if figures:
            self._figures = sound.peak_dbfs
        self._shown = (sound, sending)
        self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return [sound_line(*self._shown, width, self._figures)] if self._shown else []


class TitleStrip(LineWidget):
    """One line: the step's title and number."""

    _step: StepView | None = None

    def show(self, step: StepView | None) -> None:
        """Show a step."""
        if step != self._step:
            self._step = step
            self.repaint()

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return [title_line(self._step, width)]
