"""The choices before a job: unfinished sessions, procedures, sheets, and where sound comes from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from bench.problem import Problem
from bench.tui.text import plain
from bench.words.dates import duration, stamp
from bench.words.sentences import counted
from bench.workspace import Workspace

if TYPE_CHECKING:
    from bench.procedure.load.reader import SheetKind

NEW_JOB = "new job"
A_FILE = "file"
AN_EXERCISE = "exercise"
AS_LEFT = "as-left"
READING = "Reading procedures and sheets …"
FIRST_START = "First time? Enter starts on the practice machine: nothing can be harmed."

EXERCISE_FILE = "exercise:"
"""Prefix of the key of an option that is an exercise file."""
TRAINEE = "trainee"


@dataclass(frozen=True, slots=True)
class Option:
    """An option on a line."""

    key: str
    """Its identity: a file's name, a folder, a port."""
    name: str
    """Its name on the screen."""
    tail: str = ""
    """A word or two at the right: its duration or date."""
    about: tuple[str, ...] = ()
    """Paragraphs about it."""
    broken: str = ""
    """Why it can't be used, in one sentence; "" if it can."""
    goes_with: dict[str, tuple[str, ...]] = field(default_factory=dict, compare=False)
    """Matching options on other lines, preferred first: a procedure's own sheets, the tapes for a machine."""


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the job: one choice."""

    id: str
    title: str
    options: tuple[Option, ...]
    picked: int = 0

    @property
    def option(self) -> Option | None:
        """The selected option."""
        return self.options[self.picked] if self.options else None

    def pick(self, key: str) -> Row:
        """Select an option by key; unchanged if there is none."""
        at = next((n for n, o in enumerate(self.options) if o.key == key), self.picked)
        return replace(self, picked=at)

    def move(self, step: int) -> Row:
        """Select the option `step` places further on, wrapping at the ends."""
        return replace(self, picked=(self.picked + step) % len(self.options)) if self.options else self


ROWS = (
    ("session", "go on with"),
    ("procedure", "procedure"),
    ("machine", "machine"),
    ("tape", "tape in use"),
    ("reference-tape", "reference tape"),
    ("port", "sound"),
    ("who", "you are"),
)

ABOUT = {
    "": "The job as it is: up and down go to another line, left and right choose on it, enter starts it.",
    "session": "A session that was broken off goes on at the step where it stopped.",
    "procedure": "What is done, how long it takes and what it needs. e edits it, c makes one of your own from it.",
    "machine": "The sheet of the machine on the bench: its speed, equalisation, levels, targets and trimmers.",
    "tape": "The sheet of the tape to record on.",
    "reference-tape": "The sheet of the reference tape: its sections in order, and what its certificate says.",
    "port": "Where sound comes from and goes to. For what can't be used, the reason is shown.",
    "who": "A trainee's session has why open at every step and hints one by one.",
}
"""Help on each line; the empty name has the help on all lines."""


def rows_of(workspace: Workspace) -> list[Row]:
    """Read all choices from a workspace, except sound devices, which can take long to list."""
    reference_tapes = _sheets(workspace, "reference-tape")
    tapes = _sheets(workspace, "tape")
    machines = _machines(workspace, tapes, reference_tapes)
    options = {
        "session": _sessions(workspace),
        "procedure": _procedures(workspace, {m.key: m.goes_with.get("reference-tape", ()) for m in machines}),
        "machine": machines,
        "tape": tapes,
        "reference-tape": reference_tapes,
        "port": (PRACTICE, LEFT, EXERCISE, *_exercises(workspace), FILE),
        "who": WHO,
    }
    return [Row(id_, title, options[id_]) for id_, title in ROWS if id_ != "session" or options["session"]]


def following(rows: Sequence[Row], id_: str) -> list[Row]:
    """The rows with what goes with the choice on a line, unless something that fits is selected already."""
    out = {row.id: row for row in rows}
    option = out[id_].option if id_ in out else None
    for other, keys in (option.goes_with if option else {}).items():
        row = out.get(other)
        if row is not None and (row.option is None or row.option.key not in keys):
            out[other] = row.pick(keys[0])
            out = {r.id: r for r in following(list(out.values()), other)}
    return list(out.values())


def fitted(rows: Sequence[Row], wanted: Mapping[str, str]) -> tuple[list[Row], str]:
    """The rows without choices of last time that are missing or do not fit, and a sentence about them, or ""."""
    sheets = [row for row in rows if row.id in ("procedure", "machine", "tape", "reference-tape")]
    whole = all(row.option is not None and wanted.get(row.id) == row.option.key for row in sheets[:2])
    out = following(rows, "machine" if whole else "procedure")
    last = {row.id: wanted[row.id] for row in sheets if row.id in wanted}
    changed = [row.title for row in out if row.id in last and row.option and row.option.key != last[row.id]]
    return out, f"Missing or does not fit any more, so another is chosen: {', '.join(changed)}." if changed else ""


PRACTICE = Option(
    "practice",
    "practice machine",
    "",
    ("A model of a recorder, out of adjustment; turn its trimmers with the arrow keys. Nothing can be harmed.",),
)
LEFT = Option(
    AS_LEFT,
    "practice machine as you left it",
    "",
    ("The same practice machine again, with its trimmers where its last session left them.",),
)
EXERCISE = Option(
    AN_EXERCISE,
    "practice machine with hidden faults",
    "exercise",
    (
        "Two faults are hidden in a machine that is otherwise in order. Find them and mend what you can.",
        "A debrief at the end shows what was hidden. The same number gives a whole class the same machine.",
    ),
)
WHO = (
    Option("technician", "technician", "", ("Why is one key away.",)),
    Option(TRAINEE, "trainee", "", ("Why is open at every step, and hints come one by one: think, look, do.",)),
)
FILE = Option(
    A_FILE,
    "a captured file",
    "",
    ("A recording of a machine's output in any usual format. It can be measured, not adjusted.",),
)


def last_on_practice_machine(workspace: Workspace, machine: str) -> tuple[Path, int]:
    """The folder of the last session of a machine's sheet on the practice machine, and the seed of that machine.

    Raises:
        Problem: there is none.
    """
    from bench.session.record.index import entries
    from bench.session.record.reader import read_session

    for entry in entries(workspace.sessions):
        if entry.machine_id != machine or entry.exercise or entry.problem:
            continue
        job = read_session(entry.folder).job
        if job.port_kind == "practice":
            return entry.folder, job.seed
    raise Problem("the practice machine has no session of this machine yet: choose it without “as you left it” first")


def option_key(row: str, path: Path) -> str:
    """The key of the option that is a file."""
    return f"{EXERCISE_FILE}{path.stem}" if row == "port" else path.stem


def live_options() -> tuple[Option, ...]:
    """The sound devices, or one broken option with the reason why there are none. May take seconds."""
    from bench.audio.devices import NO_DEVICE
    from bench.audio.portaudio import devices

    try:
        options = devices()
    except Problem as problem:
        return (Option("live", "sound device", "not there", (), problem.sentence),)
    if not options:
        return (Option("live", "sound device", "not there", (), NO_DEVICE),)
    about = ("Duplex: what the program sends goes to the machine, what the machine replays comes back.",)
    out = [Option("live", "sound device: the system's own choice", "", about)]
    for device in options:
        if device.inputs:
            lacks = "" if device.outputs >= 2 else f"{device.name} has no two outputs: it can listen, not send"
            listing = f"{device.inputs} in, {device.outputs} out, {device.sample_rate} Hz, {device.system}"
            out.append(Option(f"live:{device.name}", f"sound device: {device.name}", "", (listing, *about), lacks))
    return tuple(out)


def file_option(path: str) -> Option:
    """A captured file as an option."""
    return Option(str(Path(path).expanduser()), f"file: {Path(path).name}", "", (path,))


def _procedures(workspace: Workspace, reference_tapes: Mapping[str, tuple[str, ...]]) -> tuple[Option, ...]:
    """The procedures, each with its own sheets, and the other reference tapes for its machine."""
    from bench.procedure.load.library import Library
    from bench.procedure.load.reader import read_procedure

    library = Library(workspace)
    complete: list[Option] = []
    parts: list[Option] = []
    broken: list[Option] = []
    lasts: dict[str, tuple[bool, float]] = {}
    for path in sorted(workspace.procedures.glob("*.toml")):
        procedure = read_procedure(path).model
        if procedure is None:
            broken.append(Option(path.stem, path.stem, "broken", (), read_procedure(path).findings[0].sentence))
            continue
        alone = not (procedure.other_tapes or procedure.other_reference_tapes)
        lasts[path.stem] = (alone, procedure.takes_minutes)
        about = [procedure.summary]
        if procedure.needs:
            about.append("Needs: " + "; ".join(procedure.needs) + ".")
        if procedure.other_tapes:
            about.append("Also lines up for: " + ", ".join(procedure.other_tapes) + ".")
        own = {"machine": procedure.machine, "tape": procedure.tape, "reference-tape": procedure.reference_tape}
        goes_with: dict[str, tuple[str, ...]] = {row: (name,) for row, name in own.items() if name is not None}
        if "reference-tape" in goes_with:
            goes_with["reference-tape"] += reference_tapes.get(procedure.machine or "", ())
        option = Option(
            path.stem,
            procedure.title,
            duration(60.0 * procedure.takes_minutes),
            tuple(about),
            goes_with=goes_with,
        )
        try:
            library.load_job(path.stem)
        except Problem as problem:
            broken.append(replace(option, tail="broken", broken=problem.sentence))
            continue
        (parts if procedure.part else complete).append(option)
    complete.sort(key=lambda o: lasts[o.key], reverse=True)  # a whole line-up for one tape comes first
    return (*complete, *parts, *broken)


def _exercises(workspace: Workspace) -> tuple[Option, ...]:
    """The exercise files; what they hide is not shown."""
    from bench.procedure.load.library import Library

    listed = sorted(Library(workspace).sheets("exercise"), key=lambda s: (bool(s.broken), s.title))
    return tuple(
        Option(
            f"{EXERCISE_FILE}{s.name}",
            f"exercise: {s.title}",
            "broken" if s.broken else "exercise",
            (s.about, "Its file says which procedure and machine it uses; the lines above do not count."),
            s.broken,
        )
        for s in listed
    )


def _sheets(workspace: Workspace, kind: SheetKind) -> tuple[Option, ...]:
    from bench.procedure.load.assemble import USUAL
    from bench.procedure.load.library import Library

    listed = sorted(Library(workspace).sheets(kind), key=lambda s: (bool(s.broken), s.name != USUAL[kind], s.title))
    return tuple(Option(s.name, s.title, "broken" if s.broken else "", (s.about,), s.broken) for s in listed)


def _machines(
    workspace: Workspace, tapes: tuple[Option, ...], reference_tapes: tuple[Option, ...]
) -> tuple[Option, ...]:
    """The machines, each with the tapes that it takes and the reference tapes for its speed and equalisation."""
    from bench.procedure.load.check_fit import tape_fits, tracks_fit
    from bench.procedure.load.library import Library
    from bench.procedure.load.reader import load_sheet

    library = Library(workspace)
    blanks = {o.key: load_sheet(library.sheet_path(o.key, "tape"), "tape") for o in tapes if not o.broken}
    references = {
        o.key: load_sheet(library.sheet_path(o.key, "reference-tape"), "reference-tape")
        for o in reference_tapes
        if not o.broken
    }
    out = []
    for option in _sheets(workspace, "machine"):
        if option.broken:
            out.append(option)
            continue
        machine = load_sheet(library.sheet_path(option.key, "machine"), "machine")
        fitting = {
            "tape": tuple(key for key, tape in blanks.items() if tape_fits(machine, tape)),
            "reference-tape": tuple(
                key
                for key, tape in references.items()
                if (tape.speed_mm_s, tape.equalisation_us) == (machine.speed_mm_s, machine.equalisation_us)
                and tracks_fit(machine, tape)
            ),
        }
        out.append(replace(option, goes_with={row: keys for row, keys in fitting.items() if keys}))
    return tuple(out)


def _sessions(workspace: Workspace) -> tuple[Option, ...]:
    from bench.session.record.store import unfinished

    out = []
    for left in unfinished(workspace.sessions):
        if not left.problem and not left.readings and not left.last_step:
            continue  # an empty session
        when = stamp(left.begun) if left.begun else ""
        about = (
            f"Broken off after {counted(left.readings, 'reading')}.",
            f"Last step done: {left.last_step or 'none'}.",
        )
        name = f"{left.procedure} · {left.machine}" if left.procedure else left.folder.name
        out.append(Option(str(left.folder), name, when, (*about, str(left.folder)), left.problem))
    if not out:
        return ()
    out.sort(key=lambda o: bool(o.broken))
    fresh = Option(NEW_JOB, "nothing: a new job", "", ("Choose below.",))
    return (fresh, *out) if out[0].broken else (*out, fresh)


def shortened_path(workspace: Workspace) -> str:
    """The workspace's folder; only its end if it is long."""
    text = plain(str(workspace.root))
    return text if len(text) <= 50 else "…" + text[-49:]


def what_starts(chosen: Sequence[Option]) -> str:
    """What enter starts.

    Args:
        chosen: the procedure and the port; a prepared exercise has a procedure of its own.
    """
    if chosen and chosen[-1].key.startswith(EXERCISE_FILE):
        return f"Start {chosen[-1].name}, with the procedure and machine of its own"
    return "Start: " + " · ".join(option.name for option in chosen)
