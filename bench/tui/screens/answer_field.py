"""The field in which an answer is typed; it reports characters that it refuses."""

from __future__ import annotations

from textual import events
from textual.message import Message
from textual.widgets import Input


class AnswerField(Input):
    """A field of one line."""

    class Ignored(Message):
        """A character that does not belong to a figure was typed."""

        def __init__(self, sign: str) -> None:
            super().__init__()
            self.sign = sign

    _sign = ""

    def _on_key(self, event: events.Key) -> None:  # type: ignore[override]
        self._sign = event.character or ""  # Textual calls the handler of the base class next

    def restricted(self) -> None:
        """Textual calls this when a character was refused."""
        self.post_message(self.Ignored(self._sign))
