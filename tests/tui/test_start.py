"""The door to the full screen, in a real pseudo-terminal."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from bench.problem import Problem
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import Answered
from bench.session.record.lock import is_locked
from bench.session.record.reader import read_session
from bench.tui.start import start
from bench.workspace import shipped_procedures
from tests.procedure.flow_bench import HEAD, words

pty = pytest.importorskip("pty", reason="pseudo-terminals are a matter of Unix")
import fcntl  # noqa: E402
import select  # noqa: E402
import struct  # noqa: E402
import termios  # noqa: E402

HEAVY = ("scipy", "numba", "matplotlib", "numpy", "pydantic", "sounddevice", "soundfile", "jinja2")
COLOUR = re.compile(r"\x1b\[[0-9;]*(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])[0-9;]*m")


class Terminal:
    """A program in a pseudo-terminal of a size."""

    def __init__(
        self,
        folder: Path,
        env: dict[str, str] | None = None,
        size: tuple[int, int] = (80, 24),
        program: tuple[str, ...] = ("-m", "bench"),
        command: tuple[str, ...] = (),
    ) -> None:
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        self.before = termios.tcgetattr(slave)
        self.slave = slave
        base = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "TEXTUAL", "COLUMNS", "LINES")}
        base |= {"TERM": "xterm-256color", "COLORTERM": "truecolor", "XDG_STATE_HOME": str(folder / "state")}
        base |= env or {}
        self.process = subprocess.Popen(
            [sys.executable, *program, "--workspace", str(folder / "bench"), *command],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=base,
            start_new_session=True,
        )
        self.text = ""

    def read_until(self, true: Callable[[str], object], seconds: float = 60.0) -> str:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if select.select([self.master], [], [], 0.1)[0]:
                try:
                    self.text += os.read(self.master, 65536).decode("utf-8", "replace")
                except OSError:
                    break
            elif self.process.poll() is not None:
                break
            if true(self.text):
                return self.text
        raise AssertionError(f"never came; exit {self.process.poll()}\n{self.text[-2000:]}")

    def press(self, keys: str) -> None:
        os.write(self.master, keys.encode())

    def ends(self) -> int:
        end = time.monotonic() + 60
        while self.process.poll() is None and time.monotonic() < end:
            if select.select([self.master], [], [], 0.1)[0]:
                self.text += os.read(self.master, 65536).decode("utf-8", "replace")
        return self.process.wait(1)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(shipped_procedures(), tmp_path / "bench" / "procedures")
    return tmp_path


def test_it_opens_leaves_and_gives_the_terminal_back(folder: Path) -> None:
    terminal = Terminal(folder)
    try:
        terminal.read_until(lambda text: "Start:" in text)
        assert "\x1b[?1049h" in terminal.text
        terminal.press("q")
        assert terminal.ends() == 0
        assert "\x1b[?1049l" in terminal.text
        assert "Traceback" not in terminal.text
        assert termios.tcgetattr(terminal.slave) == terminal.before
    finally:
        terminal.close()


@pytest.mark.parametrize(("env", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False)])
def test_no_color_is_obeyed(folder: Path, env: dict[str, str], coloured: bool) -> None:
    terminal = Terminal(folder, env)
    try:
        terminal.read_until(lambda text: "Start:" in text)
        terminal.press("q")
        terminal.ends()
        assert bool(COLOUR.search(terminal.text)) == coloured
        assert "38;2" not in terminal.text or coloured
    finally:
        terminal.close()


def test_a_terminal_of_sixteen_colours_gets_no_more(folder: Path) -> None:
    terminal = Terminal(folder, {"TERM": "xterm", "COLORTERM": ""})
    try:
        terminal.read_until(lambda text: "Start:" in text)
        terminal.press("q")
        terminal.ends()
        assert COLOUR.search(terminal.text)
        assert "38;2" not in terminal.text
        assert "38;5" not in terminal.text
    finally:
        terminal.close()


def test_a_small_terminal_is_told(folder: Path) -> None:
    terminal = Terminal(folder, size=(60, 20))
    try:
        terminal.read_until(lambda text: "too small" in text)
        terminal.press("\x11")  # ctrl+q leaves from anywhere
        assert terminal.ends() == 0
    finally:
        terminal.close()


def test_without_a_terminal_one_sentence_says_what_to_do(folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "bench", "--workspace", str(folder / "bench")],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "needs a terminal" in done.stderr


def test_a_workspace_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="no such folder"):
        start(str(tmp_path / "nowhere"))


def test_the_first_frame_needs_nothing_heavy() -> None:
    code = (
        "import sys; import bench.cli; import bench.tui.start; from bench.tui.preferences import user_preferences; "
        "from bench.tui.screens.chooser import ChooserScreen; "
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_procedure_opens_in_the_persons_own_editor_and_the_screen_comes_back(folder: Path) -> None:
    editor = folder / "my-editor"
    editor.write_text('#!/bin/sh\necho "EDITING $1"\nsed -i "s/^title = \\"/title = \\"My /" "$1"\n')
    editor.chmod(0o755)
    for path in (folder / "bench" / "procedures").glob("*.toml"):
        if path.stem != "clean":
            path.unlink()
    terminal = Terminal(folder, {"EDITOR": str(editor)})
    try:
        terminal.read_until(lambda text: "Start: Clean" in text)
        terminal.press("e")
        terminal.read_until(lambda text: "EDITING" in text and "My Clean" in text.partition("EDITING")[2])
        terminal.press("q")
        assert terminal.ends() == 0
        assert (folder / "bench" / "procedures" / "clean.toml").read_text().count('title = "My ') >= 1
        assert "Traceback" not in terminal.text
    finally:
        terminal.close()


FAULT = """
from bench.procedure.kinds.by_hand.by_hand import ByHandActivity
def fails(*_):
    raise ZeroDivisionError("injected")
ByHandActivity.view = fails
"""

SLOW_DISK = """
import time
from bench.session.record import store
save, last = store.save_file, False
def slow(path, data):
    global last
    if b"the last word" in data and not last:
        last = True
        time.sleep(6)
    save(path, data)
store.save_file = slow
"""

MAIN = "\nimport sys\nfrom bench.cli import main\nsys.exit(main())\n"


def test_a_fault_on_the_bench_is_said_on_the_screen_then_by_the_command_with_exit_3(folder: Path) -> None:
    terminal = Terminal(folder, program=("-c", FAULT + MAIN), command=("run", "clean"))
    try:
        terminal.read_until(lambda text: "Please" in text)  # the line breaks where the folder's name ends
        assert "A fault of this program stopped the job" in terminal.text
        terminal.press(" ")
        assert terminal.ends() == 3
        after = terminal.text.partition("\x1b[?1049l")[2]
        assert "tapebench: a fault of this program (ZeroDivisionError: injected); what was accepted is safe in" in after
        assert "Traceback" not in terminal.text
        file = Path(after.split()[-1])
        assert "ZeroDivisionError: injected" in file.read_text(encoding="utf-8")
        file.unlink()
    finally:
        terminal.close()


def test_what_a_slow_disk_still_writes_is_waited_for_when_the_screen_is_gone(folder: Path) -> None:
    (folder / "bench" / "procedures" / "t.toml").write_text(HEAD + words("kept"), encoding="utf-8")
    terminal = Terminal(folder, program=("-c", SLOW_DISK + MAIN), command=("run", "t"))
    try:
        terminal.read_until(lambda text: "Type it" in text or "Kept" in text)
        time.sleep(0.5)
        terminal.press("the last word\r")
        time.sleep(0.5)
        terminal.press("\x11")  # ctrl+q leaves from anywhere
        terminal.read_until(lambda text: "not all is on disk yet: waiting" in text.partition("\x1b[?1049l")[2])
        (session,) = (folder / "bench" / "sessions").iterdir()
        assert is_locked(session)
        terminal.ends()
        assert not is_locked(session)
        assert [e.answer for e in of_kind(read_session(session).events, Answered)] == ["the last word"]
    finally:
        terminal.close()
