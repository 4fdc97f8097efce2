"""What the bench thread tells the screen."""

from __future__ import annotations

from textual.message import Message


class Seen(Message, bubble=False):
    """There is a newer snapshot to be fetched. It carries none itself, and one that waits is enough."""

    def can_replace(self, message: Message) -> bool:
        """One of them says as much as many."""
        return isinstance(message, Seen)
