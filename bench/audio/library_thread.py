"""One thread for all calls into a library that can hang and allows only one call at a time."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

T = TypeVar("T")


class NoAnswer(Exception):  # noqa: N818 - the library's fault, not an error of ours
    """The call did not return in time, or an earlier one is still hung."""


class LibraryThread:
    """Makes calls one after another on a daemon thread, so that one that hangs blocks nothing else.

    While a call hangs no other is started, because the library allows only one at a time.
    """

    def __init__(self, name: str) -> None:
        self._name = name
        self._jobs: queue.SimpleQueue[tuple[Callable[[], Any], Future[Any]]] = queue.SimpleQueue()
        self._latest: Future[Any] | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    @property
    def is_hung(self) -> bool:
        """Whether a call has not returned."""
        return self._latest is not None and not self._latest.done()

    def call(self, function: Callable[[], T], limit_s: float) -> T:
        """Call a function on the thread; return its result, or raise what it raises.

        Raises:
            NoAnswer: it did not return within the limit, or an earlier call is still hung.
        """
        future: Future[T] = Future()
        with self._lock:
            if self.is_hung:
                raise NoAnswer
            self._latest = future
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name=self._name, daemon=True)
                self._thread.start()
            self._jobs.put((function, future))
        try:
            return future.result(limit_s)
        except TimeoutError:
            if future.done():  # the call itself raised it
                raise
            raise NoAnswer from None

    def _work(self) -> None:
        while True:
            function, future = self._jobs.get()
            try:
                result = function()
            except BaseException as error:
                future.set_exception(error)
            else:
                future.set_result(result)
