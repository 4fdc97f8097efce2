"""Causes that lie in the tapes."""

from __future__ import annotations

from bench.diagnosis.causes.cause import Cause, Move, both, wrong_position

TAPES = (
    Cause(
        "tape-selector",
        "tape selector at another type",
        (
            *wrong_position(Move("bias_shift", 3.5, 0.25), type_one=True),
            *wrong_position(Move("bias_shift", 3.5, 0.25, -1), type_one=False),
        ),
        0.8,
        "dB of bias",
        "switch it back",
        "recordings are dull or bright, and low",
        reels=0.15,
        look="look at the tape selector",
        look_minutes=0.2,
        like=("tape-of-another-type",),
    ),
    Cause(
        "tape-of-another-type",
        "a tape of another type",
        (
            *wrong_position(Move("other_tape", 1.0, 0.3), type_one=True),
            *wrong_position(Move("other_tape", 1.0, 0.3, -1), type_one=False),
        ),
        0.8,
        "1",
        "load the right tape",
        "recordings are low and bright, or loud and dull, and distort",
        reels=0.5,
        look="read the box of the tape",
        look_minutes=0.2,
        like=("tape-selector", "weak-oscillator"),
    ),
    Cause(
        "aged-reference-tape",
        "aged reference tape",
        (both(Move("reference_treble", 2.0, 0.5, -1)),),
        0.8,
        "dB at 10 kHz",
        "use another reference tape",
        "replay is set too bright",
        look="play another reference tape",
        look_minutes=6.0,
    ),
    Cause(
        "reference-tape-of-another-kind",
        "reference tape of another flux or equalisation",
        (
            both(Move("reference_level", 1.8, 0.45, -1), share=0.3, kind="flux"),
            both(Move("reference_level", 1.8, 0.45), share=0.3, kind="flux"),
            both(Move("reference_equalisation", 1.0, 0.15), share=0.2, kind="equalisation"),
            both(Move("reference_equalisation", 1.0, 0.15, -1), share=0.2, kind="equalisation"),
        ),
        0.8,
        "dB",
        "use the right reference tape",
        "replay is set wrong by as much",
        look="read the label of the reference tape",
        look_minutes=0.2,
        like=("aged-reference-tape", "equalisation-switch"),
    ),
)
