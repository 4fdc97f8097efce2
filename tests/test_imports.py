"""Which modules an import loads, in a separate process, in addition to the import contracts."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("scipy", "numba", "matplotlib", "jinja2", "sounddevice", "textual")


def loaded(statement: str) -> set[str]:
    code = f"{statement}\nimport sys\nprint(*sorted({{m.split('.')[0] for m in sys.modules}}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize(
    "module",
    [
        "bench.cli",
        "bench.measure.catalogue",
        "bench.measure.reading",
        "bench.measure.quantities.level",
        "bench.measure.quantities.response",
        "bench.measure.quantities.azimuth",
        "bench.measure.quantities.speed",
        "bench.measure.meters",
        "bench.procedure.load.library",
        "bench.procedure.run.runner",
        "bench.procedure.run.desk",
        "bench.session.record.store",
        "bench.training.hands",
    ],
)
def test_light_rooms_load_nothing_heavy(module: str) -> None:
    assert loaded(f"import {module}").isdisjoint(HEAVY)


def test_the_first_frame_needs_neither_scipy_nor_numba_nor_matplotlib() -> None:
    assert loaded("import bench.tui.app").isdisjoint({"scipy", "numba", "matplotlib", "jinja2", "sounddevice"})


def test_a_job_on_the_practice_machine_needs_little_of_scipy() -> None:
    """numba loads some of it; these parts alone are 26 MB."""
    code = "import bench.open_run, bench.practice.machine, bench.tui.app, sys; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert {"scipy.fft", "scipy.special", "scipy.signal", "matplotlib"}.isdisjoint(done.stdout.split())


def test_the_live_port_defers_the_device_library() -> None:
    assert "sounddevice" not in loaded("import bench.audio.live")


def test_a_tone_tracker_that_imported_scipy_would_be_seen() -> None:
    assert "scipy" in loaded("import bench.measure.reading, scipy.signal")
