"""What can be done by key: one table for the keys, the footer, the help sheet and the command palette.

Each verb has a letter, and a function key that also works while something is being typed.
"""

from __future__ import annotations

from typing import NamedTuple

from textual.binding import Binding, BindingType


class Verb(NamedTuple):
    """Something that can be done."""

    action: str
    """The action's name, and the binding's id."""
    key: str
    """A letter, "space" or an arrow; "" for none."""
    function_key: str
    """ "F3", or "" for none."""
    label: str
    """One or two words for the footer."""
    tells: str
    """One sentence for help and palette."""
    also: tuple[str, ...] = ()
    """Further keys."""
    listed: bool = True
    """Whether the palette offers it: what only makes sense by key is not."""


HELP = Verb("help", "", "F1", "help", "What this is, and every key that does something now.")
PALETTE = Verb("app.command_palette", "", "F2", "search", "Search for what can be done, by name.", listed=False)
STOP = Verb("stop_sound", "s", "F9", "stop sound", "Stop all sound at once.")
THEME = Verb("app.next_theme", "t", "", "light or dark", "Dark, light, or the terminal's own 16 colours.")
BELL = Verb("app.bell_switch", "l", "", "bell", "Bell on or off when a reading is kept.")

BENCH = (
    Verb("go_on", "space", "", "go on", "Do what the bar says: start, confirm, keep, go on.", ("enter",)),
    Verb("why", "w", "F3", "why", "Read the whole card: why, and what to do if not."),
    Verb("hint", "i", "", "hint", "A hint: to think, then to look, then to do, and then the answer."),
    Verb("turn(2)", "right", "", "turn +2°", "Turn the picked trimmer clockwise; 1 to 9 pick one.", listed=False),
    Verb("turn(-2)", "left", "", "turn −2°", "Turn it anticlockwise.", listed=False),
    Verb("turn(10)", "up", "", "turn +10°", "Turn it a lot; among choices, go up.", listed=False),
    Verb("turn(-10)", "down", "", "turn −10°", "Turn it back a lot; among choices, go down.", listed=False),
    Verb("accept", "a", "F7", "accept as is", "Keep what is not in; your reason lands in the report."),
    Verb("again", "r", "F5", "again", "Do this step again from its start."),
    Verb("note", "n", "F4", "note", "Write a note into the report."),
    Verb("back", "b", "F8", "step back", "Go back to the step before; what this one gave stays as an earlier try."),
    Verb("hold", "h", "", "hold", "Pause sound, tape and timer; once more goes on."),
    Verb("skip", "k", "F6", "skip", "Leave this step out; your reason lands in the report."),
    STOP,
    Verb("leave", "q", "F10", "leave", "Break off; what was kept is kept, to be resumed."),
    BELL,
    THEME,
    HELP,
    PALETTE,
)

CHOOSER = (
    Verb("start", "enter", "", "start", "Start the job as it stands.", ("space",)),
    Verb("line(-1)", "up", "", "line", "Go to the line above.", listed=False),
    Verb("line(1)", "down", "", "line", "Go to the line below.", listed=False),
    Verb("choose(-1)", "left", "", "choose", "Choose the one before.", listed=False),
    Verb("choose(1)", "right", "", "choose", "Choose the next one.", listed=False),
    Verb("edit", "e", "F3", "edit", "Edit the file behind this line; its problems are listed afterwards."),
    Verb("copy", "c", "F6", "new from this", "A copy of the file behind this line, to begin a new one from."),
    Verb("records", "v", "F7", "sessions", "Sessions, their reports, machines' histories, comparisons."),
    Verb("file", "f", "F4", "a file", "Measure from a captured file instead of a machine."),
    Verb("look_again", "r", "F5", "look again", "Read procedures, sheets, sessions and sound devices again."),
    STOP,
    Verb("leave", "q", "F10", "leave", "Leave Tapebench."),
    THEME,
    HELP,
    PALETTE,
)

PAGES = (
    Verb("move(1)", "down", "", "line", "A line on.", listed=False),
    Verb("move(-1)", "up", "", "line", "A line back.", listed=False),
    Verb("page(1)", "space", "", "page", "A page on.", ("right", "pagedown")),
    Verb("page(-1)", "left", "", "page back", "A page back.", ("pageup",)),
    Verb("open_outside", "o", "F4", "open outside", "Open the page in the browser, or what else opens such files."),
    STOP,
    Verb("leave", "q", "F10", "back", "Back to where you came from.", ("escape",)),
    THEME,
    HELP,
    PALETTE,
)

RECORDS = (
    Verb("read", "enter", "", "report", "Read the report of the picked session.", ("space",)),
    Verb("move(1)", "down", "", "session", "The session below.", listed=False),
    Verb("move(-1)", "up", "", "session", "The session above.", listed=False),
    Verb("history", "m", "F3", "machine", "Read the history of the picked session's machine, with its drift."),
    Verb("compare", "c", "F5", "compare", "Mark a session; on another one, set the two side by side."),
    Verb("open_outside", "o", "F4", "open outside", "Open the report in the browser."),
    Verb("label", "i", "F6", "lid label", "Read the label for the inside of the lid."),
    STOP,
    Verb("leave", "q", "F10", "back", "Back to where you came from.", ("escape",)),
    THEME,
    HELP,
    PALETTE,
)

EDITING = (
    Verb("save", "", "F4", "save and check", "Save, and list what is wrong with the file."),
    STOP._replace(key=""),
    Verb("leave", "", "F10", "back", "Back; what is not saved is asked about.", ("escape",)),
    HELP,
)

NAMES = {"left": "←", "right": "→", "up": "↑", "down": "↓"}


def bindings(verbs: tuple[Verb, ...]) -> list[BindingType]:
    """Key bindings for verbs; function keys go first, so that they work while something is being typed."""
    out: list[BindingType] = []
    for verb in verbs:
        keys = [verb.key, *verb.also]
        if any(keys):
            out.append(Binding(",".join(k for k in keys if k), verb.action, verb.label, id=verb.action))
        if verb.function_key:
            key = verb.function_key.lower()
            out.append(Binding(key, verb.action, verb.label, id=f"{verb.action}-{key}", priority=True))
    return out


def find(verbs: tuple[Verb, ...], action: str) -> Verb:
    """The verb of an action."""
    return next(v for v in verbs if v.action == action)


def key_name(verb: Verb, *, typing: bool = False) -> str:
    """What the key is called on the screen; while typing only function keys work."""
    if typing or not verb.key:
        return verb.function_key
    return NAMES.get(verb.key, verb.key)
