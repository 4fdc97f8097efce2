"""Mistakes in files about steps for the interface and about azimuth by programme."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.procedure.load.reader import read_procedure
from tests.procedure.flow_bench import HEAD

LOOP = '\n[[step]]\nkind = "interface"\nid = "x"\ntitle = "X"\ndo = "Do."\n'
ADJUST = (
    '\n[[step]]\nkind = "adjust"\nid = "x"\ntitle = "X"\ndo = "Do."\ntarget = "machine.programme_azimuth"\n'
    'trimmers = { both = "replay azimuth" }\n'
)
MEASURE = '\n[[step]]\nkind = "measure"\nid = "x"\ntitle = "X"\ndo = "Do."\ntarget = "machine.programme_azimuth"\n'

ENTRY = '\n[[step]]\nkind = "entry"\nid = "said"\ntitle = "Said"\ndo = "Type."\nasks = "number"\nunit = "{}"\n'
LABEL = ENTRY.format("nWb/m")


def said(tmp_path: Path, steps: str) -> str:
    path = tmp_path / "t.toml"
    path.write_text(HEAD + steps, encoding="utf-8")
    return " | ".join(f.sentence for f in read_procedure(path).findings)


@pytest.mark.parametrize(
    ("step", "message"),
    [
        (LOOP + 'finds = "response"\nlimit = 0.5\nsends = [{ hz = 1000, dbfs = -20 }]', "from 2 tones or more"),
        (LOOP + 'finds = "noise"\nlimit = -75\nsends = [{ hz = 1000, dbfs = -20 }]', "take them out: nothing is sent"),
        (LOOP + 'finds = "channels"\nlimit = 40', "channels is found from 1 tone"),
        (LOOP + 'finds = "channels"\nlimit = 40\nsends = [{ hz = 1000, dbfs = 3 }]', "dbfs"),
        (LOOP + 'finds = "noise"', "limit"),
        (ADJUST + 'quantity = "speed_error"\nprogramme = true', "programme does not tell speed_error"),
        (
            ADJUST + 'quantity = "azimuth_delay"\nprogramme = true\nplays = "azimuth-1k"',
            "cannot be combined with programme",
        ),
        (ADJUST + 'quantity = "azimuth_delay"', "nothing sounds at this step"),
        (MEASURE + 'quantity = "level"\nprogramme = true', "programme does not tell level"),
        (MEASURE + 'quantity = "treble_fall"', "treble_fall is of programme"),
        (MEASURE + 'quantity = "tape_level"\nfrequency = 1000.0', "what does its label say?"),
        (LABEL + MEASURE + 'quantity = "tape_level"\nnamed_by = "said"', "which tone of the tape is it?"),
        (MEASURE + 'quantity = "tape_level"\nfrequency = 1.0\nnamed_by = "said"', "there is no step"),
        (
            ENTRY.format("Hz") + MEASURE + 'quantity = "tape_level"\nfrequency = 1.0\nnamed_by = "said"',
            "does not ask for a number in nWb/m",
        ),
        (LABEL + MEASURE + 'quantity = "level"\nnamed_by = "said"', "is for what is on a tape from elsewhere"),
        (MEASURE + 'quantity = "speed_error"\nprogramme = true\nknown_by = "said"', "goes with named_by"),
        (
            LABEL + ADJUST + 'quantity = "tape_level"\nfrequency = 1.0\nnamed_by = "said"\nplays = "x"',
            "the tone is on the tape",
        ),
    ],
)
def test_each_mistake_is_told(tmp_path: Path, step: str, message: str) -> None:
    assert message in said(tmp_path, step)


@pytest.mark.parametrize(
    "step",
    [
        LOOP + 'finds = "noise"\nlimit = -75',
        LOOP + 'finds = "clock"\nlimit = 100\nsends = [{ hz = 10000, dbfs = -6 }]\ninstrument_percent = 0.0001',
        ADJUST + 'quantity = "azimuth_delay"\nprogramme = true',
        MEASURE + 'quantity = "azimuth_delay"\nprogramme = true',
        MEASURE + 'quantity = "speed_error"\nprogramme = true',
        LABEL + MEASURE + 'quantity = "tape_level"\nfrequency = 1000.0\nnamed_by = "said"',
        LABEL + ADJUST + 'quantity = "tape_level"\nfrequency = 1000.0\nnamed_by = "said"',
    ],
)
def test_what_is_right_is_let_pass(tmp_path: Path, step: str) -> None:
    assert said(tmp_path, step) == ""
