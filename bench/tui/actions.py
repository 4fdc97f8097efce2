"""The actions of each screen and their keys: one table for key bindings, footer, help and command palette.

Most actions have a letter, and a function key that also works while text is being typed.
"""

from __future__ import annotations

from typing import NamedTuple

from textual.binding import Binding, BindingType


class KeyAction(NamedTuple):
    """An action and the keys that start it."""

    action: str
    """The action's name, and the id of its binding."""
    key: str
    """A letter, "space" or an arrow; "" for none."""
    function_key: str
    """ "F3", or "" for none."""
    label: str
    """One or two words for the footer."""
    help: str
    """One sentence for help and palette."""
    also: tuple[str, ...] = ()
    """Further keys."""
    in_palette: bool = True
    """Whether the palette lists it; actions that only make sense by key are not listed."""


HELP = KeyAction("help", "", "F1", "help", "What this is, and every key that does something now.")
PALETTE = KeyAction(
    "app.command_palette", "", "F2", "search", "Search for what can be done, by name.", in_palette=False
)
STOP = KeyAction("stop_sound", "s", "F9", "stop sound", "Stop all sound at once.")
THEME = KeyAction("app.next_theme", "t", "", "light or dark", "Dark, light, or the terminal's own 16 colours.")
BELL = KeyAction("app.bell_switch", "l", "", "bell", "Bell on or off when a reading is kept.")

BENCH = (
    KeyAction("go_on", "space", "", "go on", "Do what the bar shows: start, confirm, keep, go on.", ("enter",)),
    KeyAction("why", "w", "F3", "why", "Read the whole card: why, and what to do if not."),
    KeyAction(
        "hint",
        "i",
        "",
        "hint",
        "Hints one by one: what to think of, where to look, and what to do.",
    ),
    KeyAction(
        "turn(2)", "right", "", "turn +2°", "Turn the picked trimmer clockwise; 1 to 9 pick one.", in_palette=False
    ),
    KeyAction("turn(-2)", "left", "", "turn −2°", "Turn it anticlockwise.", in_palette=False),
    KeyAction("turn(10)", "up", "", "turn +10°", "Turn it a lot; among choices, go up.", in_palette=False),
    KeyAction("turn(-10)", "down", "", "turn −10°", "Turn it back a lot; among choices, go down.", in_palette=False),
    KeyAction(
        "turn_as_shown",
        "g",
        "",
        "turn as shown",
        "Make the turns that the gauges propose, until none is left; once more stops.",
    ),
    KeyAction("run_on", "p", "", "run on", "Let the measuring steps follow one another, up to the first that is out."),
    KeyAction("accept", "a", "F7", "accept as is", "Keep what is not in; your reason is in the report."),
    KeyAction("again", "r", "F5", "repeat", "Do this step again from its start."),
    KeyAction(
        "linear_axis",
        "x",
        "",
        "linear axis",
        "Frequency on a linear axis, with the film of dirt that fits.",
    ),
    KeyAction("results", "v", "F12", "results", "Read everything measured so far, what is not in on top."),
    KeyAction(
        "far", "f", "", "two metres", "Large, to be read from two metres: figure, arrow, trimmer; or what to do."
    ),
    KeyAction("guide", "u", "", "audible guide", "Hear how far off it is: two tones that become one."),
    KeyAction("note", "n", "F4", "note", "Write a note into the report."),
    KeyAction("back", "b", "F8", "back", "Go back to the step before; what this one gave stays as an earlier try."),
    KeyAction("run_test", "e", "", "test", "Run a test that tells two causes apart; then this step begins again."),
    KeyAction("hold", "h", "", "hold", "Pause sound, tape and timer; once more goes on."),
    KeyAction("skip", "k", "F6", "skip", "Skip this step; your reason is in the report."),
    KeyAction("report", "o", "", "report", "Read the report of the job that is over."),
    STOP,
    KeyAction("leave", "q", "F10", "leave", "Break off; what was kept is kept, to be resumed."),
    KeyAction("diagnose", "d", "", "what is wrong", "Likely causes of what was read so far, and the next test."),
    BELL,
    THEME,
    HELP,
    PALETTE,
)

CHOOSER = (
    KeyAction("start", "enter", "", "start", "Start the job as it is.", ("space",)),
    KeyAction("line(-1)", "up", "", "line", "Go to the line above.", in_palette=False),
    KeyAction("line(1)", "down", "", "line", "Go to the line below.", in_palette=False),
    KeyAction("choose(-1)", "left", "", "choose", "Choose the one before.", in_palette=False),
    KeyAction("choose(1)", "right", "", "choose", "Choose the next one.", in_palette=False),
    KeyAction("edit", "e", "F3", "edit", "Edit the file behind this line; its problems are listed afterwards."),
    KeyAction("copy", "c", "F6", "new from this", "A copy of the file behind this line, to begin a new one from."),
    KeyAction(
        "type_in_tape", "n", "", "type in a tape", "Type in a reference tape, or a set of them; the sheets are written."
    ),
    KeyAction("records", "v", "F7", "sessions", "Sessions, their reports, machines' histories, comparisons."),
    KeyAction("new_exercise", "x", "F8", "new exercise", "Write an exercise on this job, and what its machine hides."),
    KeyAction("file", "f", "F4", "a file", "Measure from a captured file instead of a machine."),
    KeyAction("look_again", "r", "F5", "look again", "Read procedures, sheets, sessions and sound devices again."),
    STOP,
    KeyAction("leave", "q", "F10", "leave", "Leave Tapebench."),
    THEME,
    HELP,
    PALETTE,
)

PAGES = (
    KeyAction("move(1)", "down", "", "line", "A line on.", in_palette=False),
    KeyAction("move(-1)", "up", "", "line", "A line back.", in_palette=False),
    KeyAction("page(1)", "space", "", "page", "A page on.", ("right", "pagedown")),
    KeyAction("page(-1)", "left", "", "page back", "A page back.", ("pageup",)),
    KeyAction("start_test", "m", "F6", "make the test", "Make the suggested test now; then the job goes on."),
    KeyAction(
        "open_outside", "o", "F4", "open outside", "Open the page in the browser, or what else opens such files."
    ),
    STOP,
    KeyAction("leave", "q", "F10", "back", "Back to where you came from.", ("escape",)),
    THEME,
    HELP,
    PALETTE,
)

RECORDS = (
    KeyAction("read", "enter", "", "report", "Read the report of the picked session.", ("space",)),
    KeyAction("move(1)", "down", "", "session", "The session below.", in_palette=False),
    KeyAction("move(-1)", "up", "", "session", "The session above.", in_palette=False),
    KeyAction("history", "m", "F3", "machine", "Read the history of the picked session's machine, with its drift."),
    KeyAction("compare", "c", "F5", "compare", "Mark a session; on another one, compare the two."),
    KeyAction("fleet", "a", "F7", "all machines", "How a tape of each machine plays on the others; the odd one out."),
    KeyAction("open_outside", "o", "F4", "open outside", "Open the report in the browser."),
    KeyAction("label", "i", "F6", "lid label", "Read the label for the inside of the lid."),
    STOP,
    KeyAction("leave", "q", "F10", "back", "Back to where you came from.", ("escape",)),
    THEME,
    HELP,
    PALETTE,
)

EDITING = (
    KeyAction("save", "", "F4", "save and check", "Save, and list what is wrong with the file."),
    STOP._replace(key=""),
    KeyAction("leave", "", "F10", "back", "Back; what is not saved is asked about.", ("escape",)),
    HELP,
)

NAMES = {"left": "←", "right": "→", "up": "↑", "down": "↓"}


def bindings(key_actions: tuple[KeyAction, ...]) -> list[BindingType]:
    """Key bindings of these actions; function keys have priority, so that they work while text is being typed."""
    out: list[BindingType] = []
    for item in key_actions:
        keys = [item.key, *item.also]
        if any(keys):
            out.append(Binding(",".join(k for k in keys if k), item.action, item.label, id=item.action))
        if item.function_key:
            key = item.function_key.lower()
            out.append(Binding(key, item.action, item.label, id=f"{item.action}-{key}", priority=True))
    return out


def find(key_actions: tuple[KeyAction, ...], action: str) -> KeyAction:
    """The entry of an action."""
    return next(v for v in key_actions if v.action == action)


def key_name(item: KeyAction, *, typing: bool = False) -> str:
    """The key's name on the screen; while typing, only function keys work."""
    if typing or not item.key:
        return item.function_key
    return NAMES.get(item.key, item.key)
