"""What the bench thread tells the screen."""

from __future__ import annotations

from textual.message import Message

from bench.procedure.snapshot import Snapshot


class Seen(Message, bubble=False):
    """A new snapshot. A newer one takes the place of one still waiting, so that none can pile up."""

    def __init__(self, snapshot: Snapshot) -> None:
        super().__init__()
        self.snapshot = snapshot

    def can_replace(self, message: Message) -> bool:
        """A snapshot replaces a snapshot."""
        return isinstance(message, Seen)
