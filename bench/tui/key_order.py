"""Keys take effect one after another, each with all its consequences, however fast they are typed.

Textual passes a key up through the ancestors of the focused widget, each with its own message queue, before a binding
acts on it. So a key that a widget handles itself overtakes one that a binding handles: digits typed at once would
overtake a backspace. Here a key waits until a message that followed the previous key along the same path has come back,
and until the screen reports that it shows the effect of that key.
"""

from __future__ import annotations

from collections import deque

from textual import events
from textual.app import App
from textual.message import Message

from bench.tui.actions import STOP

ROUNDS = 3
"""Passes of the message: for the key, for the message that a widget posts because of it, and for the screen to which a
dialog returns."""

LOOK_EVERY_S = 0.02

LONGEST_S = 2.0
"""Longest wait for the effect of a key; after it the next key follows anyway."""


class KeyPassed(Message):
    """Follows a key along the same path."""

    def __init__(self, key: int, rounds: int) -> None:
        super().__init__()
        self.key = key
        self.rounds = rounds


class KeysInOrder(App[int]):
    """An app that handles keys in order. A screen may have a property `settled`: whether it is waiting for nothing."""

    def __init__(self, *, ansi_color: bool | None = None) -> None:
        super().__init__(ansi_color=ansi_color)
        self._typed: deque[events.Key] = deque()
        self._key = 0
        self._at_work = False

    async def on_event(self, event: events.Event) -> None:
        """Queue a key; the key that stops sound drops the waiting ones. All other events are handled at once."""
        if not isinstance(event, events.Key) or event.is_forwarded:
            await super().on_event(event)
            return
        if event.key == STOP.function_key.lower():
            self._typed.clear()
        self._typed.append(event)
        if not self._at_work:
            await self._next_key()

    async def _next_key(self) -> None:
        self._at_work = bool(self._typed)
        if not self._typed:
            return
        self._key += 1
        key = self._key
        self.set_timer(LONGEST_S, lambda: self._over(key))
        await super().on_event(self._typed.popleft())
        self._follow(KeyPassed(key, ROUNDS))

    def _follow(self, message: KeyPassed) -> None:
        """Send a message after a key, from the widget that receives keys now."""
        target = self.focused or (self.screen if self.screen_stack else None)
        if target is not None:
            message.set_sender(target)
            target.post_message(message)

    async def on_key_passed(self, message: KeyPassed) -> None:
        """Everything that a key has caused so far is done: check whether that caused more."""
        message.stop()
        if message.rounds > 1:
            self._follow(KeyPassed(message.key, message.rounds - 1))
        else:
            await self._look(message.key)

    async def _look(self, key: int) -> None:
        """Go on with the next key once the screen shows the effect of this one."""
        stopping = bool(self._typed) and self._typed[0].key == STOP.function_key.lower()
        if stopping or all(getattr(screen, "settled", True) for screen in self.screen_stack):
            await self._over(key)
        elif key == self._key:
            self.set_timer(LOOK_EVERY_S, lambda: self._look(key))

    async def _over(self, key: int) -> None:
        if key == self._key and self._at_work:
            await self._next_key()
