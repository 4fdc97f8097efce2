"""A small workspace for tests: one sheet of each kind, and the parts of a procedure."""

from __future__ import annotations

from pathlib import Path

from bench.workspace import Workspace

MACHINE = """\
format = 1
sheet = "machine"
name = "Practice deck"
heads = 3
speed_mm_s = 47.625
track_spacing_mm = 0.9
equalisation_us = [3180, 120]

[reference]
fluxivity_nwb_m = 200
fluxivity_method = "ANSI"
replay_dbfs = -12
send_dbfs = -12

[targets.replay_level]
unit = "dB"
tolerance = 0.5
source = "common practice, no source"

[targets.replay_response]
unit = "dB"
source = "common practice, no source"
bands = [{ from_hz = 40, to_hz = 12500, tolerance = 2 }]

[targets.azimuth]
unit = "µs"
tolerance = 5
source = "common practice, no source"

[targets.speed]
unit = "%"
tolerance = 0.5
source = "common practice, no source"

[targets.record_level]
unit = "dB"
tolerance = 0.5
source = "common practice, no source"
"""

TWO_HEADS = MACHINE.replace("heads = 3", "heads = 2")

TAPE = """\
format = 1
sheet = "tape"
name = "Ferric"
iec_type = "I"

[targets.bias]
unit = "dB"
tolerance = 0.5
source = "common practice, no source"
"""

REFERENCE_TAPE = """\
format = 1
sheet = "reference-tape"
name = "Reference"
speed_mm_s = 47.625
fluxivity_nwb_m = 200
fluxivity_method = "ANSI"
equalisation_us = [3180, 120]
uncertainty_db = 0.2
speed_uncertainty_percent = 0.1
azimuth_uncertainty_arcmin = 1

[[section]]
id = "level"
purpose = "level"
hz = 400
db = 0
seconds = 10

[[section]]
id = "high"
purpose = "response"
hz = 10000
db = -20
seconds = 10

[[section]]
id = "skew"
purpose = "azimuth"
hz = 10000
db = -20
seconds = 10
"""

FAULT = """\
format = 1
sheet = "fault"
name = "Dirty head"
tells = "Treble is lost."
mended_by = ["clean"]

[practice]
replay_dirt_left_um = 1.0
"""

HEAD = """\
format = 1
title = "A line-up"
summary = "For tests."
takes_minutes = 5
"""

CLEAN = """
[[step]]
kind = "by-hand"
id = "clean"
title = "Clean"
do = "Clean it."
does = ["clean", "demagnetise"]
"""

PLAY = """
[[step]]
kind = "reference"
id = "play"
title = "Play"
do = "Play it."
targets = { level = "machine.replay_level" }
"""

LEVEL = """
[[step]]
kind = "adjust"
id = "replay-level"
title = "Replay level"
do = "Turn it."
quantity = "level"
plays = "level"
target = "machine.replay_level"
trimmers = { left = "replay level left", right = "replay level right" }
"""

BIAS = """
[[step]]
kind = "adjust"
id = "bias"
title = "Bias"
do = "Turn it."
quantity = "response"
sends = [{ hz = 400, db = -20 }, { hz = 10000, db = -20 }]
frequency = 10000
reference_frequency = 400
target = "tape.bias"
trimmers = { left = "bias left", right = "bias right" }
"""

MEASURED = """
[[step]]
kind = "measure"
id = "before"
title = "Before"
do = "Play."
quantity = "balance"
target = "machine.replay_level"
"""

RECORD = """
[[step]]
kind = "record-replay"
id = "record"
title = "Record"
do = "Record."
sends = [{ hz = 400, db = 0 }]
reference_hz = 400
targets = { record_replay_level = "machine.record_level" }
"""

ENTRY = """
[[step]]
kind = "entry"
id = "wear"
title = "Wear"
do = "Look."
asks = "choice"
choices = ["little", "much"]
"""

FOLLOW = """
[[step]]
kind = "follow"
id = "other"
title = "Other"
procedure = "other"
"""

GOOD = HEAD + CLEAN + PLAY + LEVEL + BIAS + RECORD + ENTRY
"""A procedure without a mistake."""


def make_bench(root: Path, **procedures: str) -> Workspace:
    """Write the sheets and some procedures into a new workspace."""
    sheets = {
        "machines/three-head-cassette": MACHINE,
        "machines/two-head-cassette": TWO_HEADS,
        "tapes/ferric-daily": TAPE,
        "reference-tapes/cassette-reference": REFERENCE_TAPE,
        "faults/dirty-head": FAULT,
    }
    folder = root / "procedures"
    for name, text in sheets.items():
        path = folder / "sheets" / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    for name, text in procedures.items():
        (folder / f"{name.replace('_', '-')}.toml").write_text(text, encoding="utf-8")
    return Workspace(root)
