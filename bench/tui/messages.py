"""The message from the bench thread to the screen."""

from __future__ import annotations

from textual.message import Message


class SnapshotReady(Message, bubble=False):
    """A newer snapshot is ready to be fetched. The message does not carry it, so one pending message is enough."""

    def can_replace(self, message: Message) -> bool:
        """One pending message replaces another."""
        return isinstance(message, SnapshotReady)
