"""Dialogs over a screen: text to type, a question, text to read, and the notice that the terminal is too small."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from bench.tui.actions import STOP, KeyAction, key_name
from bench.tui.text import plain, wrap
from bench.tui.widgets.line_widget import ROLE_CLASSES, Line, LineWidget
from bench.tui.widgets.step_card import READABLE, card_lines, card_parts

if TYPE_CHECKING:
    from bench.procedure.state.snapshot import StepView

SMALLEST = (80, 24)
LONGEST_WORDS = 500
LONGEST_TITLE = 400
"""Most characters of a dialog's fixed text; six lines of it."""


def words(text: str, *, id: str | None = None, classes: str = "", longest: int = LONGEST_TITLE) -> Static:  # noqa: A002
    """Text that is never treated as markup and never longer than fits in a dialog."""
    return Static(Content(plain(text, longest)), id=id, classes=classes, markup=False)


class Dialog(ModalScreen[str | None]):
    """A dialog over a screen; dismissed with `None` if it was closed without an answer."""

    COMPONENT_CLASSES = ROLE_CLASSES
    BINDINGS = [("escape,f10", "close", "back"), ("f1", "help", "help")]  # noqa: RUF012
    about = "Read this, then go back."
    """What F1 shows about it."""

    def action_close(self) -> None:
        """Back to the screen below, without an answer."""
        self.dismiss(None)

    def action_help(self) -> None:
        """Help on this dialog."""
        self.app.push_screen(HelpDialog((), (self.about, "Escape or F10 goes back. F9 stops all sound.")))


class AskText(Dialog):
    """Asks for text; `usual` stands in the field at first."""

    about = "Type what is asked, then press enter. Left empty, enter changes nothing."

    def __init__(self, question: str, then: str, usual: str = "") -> None:
        super().__init__()
        self._question, self._then, self._usual = question, then, usual

    def compose(self) -> ComposeResult:
        """Question, field, and what the keys do."""
        with Vertical(classes="dialog"):
            yield words(self._question, classes="strong")
            yield Input(self._usual, max_length=LONGEST_WORDS, compact=True)
            yield words(f"enter {self._then} · left empty, enter goes back", classes="quiet")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter."""
        event.stop()
        self.dismiss(plain(event.value).strip() or None)


class Confirm(Dialog):
    """Asks a yes-or-no question."""

    about = "Press y for yes, n or escape for no."

    BINDINGS = [("y", "yes", "yes"), ("n", "close", "no")]  # noqa: RUF012

    def __init__(self, question: str, yes: str, no: str) -> None:
        super().__init__()
        self._question, self._yes, self._no = question, yes, no

    def compose(self) -> ComposeResult:
        """Question and keys."""
        with Vertical(classes="dialog"):
            yield words(self._question, classes="strong")
            yield words(f"y {self._yes} · n {self._no}", classes="quiet")

    def action_yes(self) -> None:
        """Yes."""
        self.dismiss("yes")


class TextDialog(Dialog):
    """Text to read, which may be longer than the screen."""

    BINDINGS = [("space,enter,w,f1,f3,q", "close", "back")]  # noqa: RUF012
    shape = "tall"
    widest = 92
    """The most cells of the dialog."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self._title = title

    def body(self, width: int) -> list[Line]:
        """The text in lines of a width."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        """Title and text."""
        with Vertical(classes=f"dialog {self.shape}"):
            yield words(self._title, classes="strong", longest=120)
            with VerticalScroll():
                yield _Body(self)
            yield Static(Content(self.footing()), id="footing", classes="quiet", markup=False)

    def on_mount(self) -> None:
        """Arrows scroll."""
        self.query_one(VerticalScroll).focus()
        self.on_resize()

    def footing(self) -> str:
        """What the keys do."""
        return "space back · ↑ ↓ read on"

    def on_resize(self) -> None:
        """Make the dialog as tall as the text, if there is room."""
        width = min(self.widest, round(self.app.size.width * 0.96)) - 8
        text = len(self.body(width))
        self.query_one(_Body).styles.height = text
        self.query_one(VerticalScroll).styles.height = max(3, min(text, self.app.size.height - 10))
        self.query_one("#footing", Static).update(Content(self.footing()))
        self.query_one(_Body).repaint()


class _Body(LineWidget):
    """The text of the dialog, as tall as it needs to be."""

    def __init__(self, sheet: TextDialog) -> None:
        super().__init__()
        self._sheet = sheet

    def lines(self, width: int, height: int) -> list[Line]:
        """Draw."""
        return self._sheet.body(width)


class CardDialog(TextDialog):
    """A step's whole card."""

    def __init__(self, step: StepView) -> None:
        super().__init__(step.title)
        self._step = step

    def body(self, width: int) -> list[Line]:
        """The card, with why and what to do otherwise."""
        return card_lines(card_parts(self._step, whole=True), min(width, READABLE), 10_000)


class HelpDialog(TextDialog):
    """Help on what has the focus, and all keys that have an effect now."""

    def __init__(self, key_actions: tuple[KeyAction, ...], about: tuple[str, ...] = ()) -> None:
        super().__init__("Help")
        self._key_actions, self._about = key_actions, about

    def body(self, width: int) -> list[Line]:
        """Paragraphs, then a line for each action."""
        out: list[Line] = []
        for paragraph in self._about:
            out += [[(line, "")] for line in wrap(paragraph, min(width, READABLE))]
            out.append([])
        if self._key_actions:
            out.append([("Keys", "strong")])
        for item in self._key_actions:
            keys = " ".join(k for k in (key_name(item), *item.also, item.function_key if item.key else "") if k)
            for n, text in enumerate(wrap(item.help, width - 13)):
                out.append([(f"{keys if n == 0 else '':<13}", "key"), (text, "")])
        return out


class TooSmall(ModalScreen[None]):
    """Shows that the terminal is too small; closes automatically when it is large enough."""

    BINDINGS = [(STOP.key, "app.stop_sound", STOP.label)]  # noqa: RUF012

    def compose(self) -> ComposeResult:
        """One sentence."""
        yield words("", id="too-small")

    def __init__(self) -> None:
        super().__init__()
        self._gone = False

    def on_resize(self) -> None:
        """Update the sentence, or close; it closes once, however often the size changes."""
        width, height = self.app.size
        if width < SMALLEST[0] or height < SMALLEST[1]:
            self._say()
        elif not self._gone and self.is_current:
            self._gone = True
            self.dismiss(None)

    def on_screen_resume(self) -> None:
        """Check the size again after a dialog above it closed."""
        self.on_resize()

    def _say(self) -> None:
        width, height = self.app.size
        least = f"{SMALLEST[0]}×{SMALLEST[1]}"
        text = f"This terminal is too small ({width}×{height}): make it at least {least}. {STOP.key} stops all sound."
        self.query_one("#too-small", Static).update(Content(text))
