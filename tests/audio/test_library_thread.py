"""One thread for all calls to the library, so that no caller can be blocked."""

from __future__ import annotations

import threading

import pytest

from bench.audio.library_thread import LibraryThread, NoAnswer


def test_a_call_gives_its_result_or_raises_what_it_raised() -> None:
    calls = LibraryThread("test")
    assert calls.call(lambda: 6 * 7, 5.0) == 42
    with pytest.raises(ZeroDivisionError):
        calls.call(lambda: 1 / 0, 5.0)
    with pytest.raises(TimeoutError):
        calls.call(_times_out, 5.0)
    assert calls.call(lambda: "on", 5.0) == "on"


def test_all_calls_are_made_on_one_daemon_thread() -> None:
    calls = LibraryThread("test")
    threads = {calls.call(threading.current_thread, 5.0) for _ in range(3)}
    assert len(threads) == 1
    assert threads != {threading.current_thread()}
    assert threads.pop().daemon


def test_while_one_is_stuck_no_other_is_begun() -> None:
    calls, release, begun = LibraryThread("test"), threading.Event(), []
    with pytest.raises(NoAnswer):
        calls.call(release.wait, 0.05)
    assert calls.is_hung
    with pytest.raises(NoAnswer):
        calls.call(lambda: begun.append(1), 5.0)
    release.set()
    for _ in range(100):
        if not calls.is_hung:
            break
        threading.Event().wait(0.01)
    assert calls.call(lambda: "again", 5.0) == "again"
    assert begun == []


def _times_out() -> None:
    raise TimeoutError
