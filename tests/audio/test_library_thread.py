"""One thread for all calls, none of which can hold up who makes them."""

from __future__ import annotations

import threading

import pytest

from bench.audio.library_thread import Calls, NoAnswer


def test_a_call_gives_its_result_or_raises_what_it_raised() -> None:
    calls = Calls("test")
    assert calls.make(lambda: 6 * 7, 5.0) == 42
    with pytest.raises(ZeroDivisionError):
        calls.make(lambda: 1 / 0, 5.0)
    with pytest.raises(TimeoutError):
        calls.make(_times_out, 5.0)
    assert calls.make(lambda: "on", 5.0) == "on"


def test_all_calls_are_made_on_one_daemon_thread() -> None:
    calls = Calls("test")
    threads = {calls.make(threading.current_thread, 5.0) for _ in range(3)}
    assert len(threads) == 1
    assert threads != {threading.current_thread()}
    assert threads.pop().daemon


def test_while_one_is_stuck_no_other_is_begun() -> None:
    calls, release, begun = Calls("test"), threading.Event(), []
    with pytest.raises(NoAnswer):
        calls.make(release.wait, 0.05)
    assert calls.stuck
    with pytest.raises(NoAnswer):
        calls.make(lambda: begun.append(1), 5.0)
    release.set()
    for _ in range(100):
        if not calls.stuck:
            break
        threading.Event().wait(0.01)
    assert calls.make(lambda: "again", 5.0) == "again"
    assert begun == []


def _times_out() -> None:
    raise TimeoutError
