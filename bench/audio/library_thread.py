"""One thread for all calls into a library that can hang and bears only one call at a time."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

T = TypeVar("T")


class NoAnswer(Exception):  # noqa: N818 - it is what the caller got, not an error of ours
    """The call did not come back in time, or an earlier one is still stuck."""


class Calls:
    """Makes calls one after another on a daemon thread of its own, so that one that hangs holds up nothing else.

    A stuck call stays stuck: no other is begun until it has come back, because the library would not bear it.
    """

    def __init__(self, name: str) -> None:
        self._name = name
        self._jobs: queue.SimpleQueue[tuple[Callable[[], Any], Future[Any]]] = queue.SimpleQueue()
        self._latest: Future[Any] | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    @property
    def stuck(self) -> bool:
        """Whether a call has not come back."""
        return self._latest is not None and not self._latest.done()

    def make(self, call: Callable[[], T], limit_s: float) -> T:
        """Make a call and give its result, or raise what it raises.

        Raises:
            NoAnswer: it has not come back within the limit, or an earlier one is still stuck.
        """
        future: Future[T] = Future()
        with self._lock:
            if self.stuck:
                raise NoAnswer
            self._latest = future
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name=self._name, daemon=True)
                self._thread.start()
            self._jobs.put((call, future))
        try:
            return future.result(limit_s)
        except TimeoutError:
            if future.done():  # the call itself raised it
                raise
            raise NoAnswer from None

    def _work(self) -> None:
        while True:
            call, future = self._jobs.get()
            try:
                result = call()
            except BaseException as error:
                future.set_exception(error)
            else:
                future.set_result(result)
