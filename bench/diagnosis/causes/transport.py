"""Causes in the transport."""

from __future__ import annotations

from bench.diagnosis.causes.cause import Cause, Curve, Move, Variant, both, rotating
from bench.diagnosis.machine import PARTS

ROUGH = (Move("flutter_rest", 1.2, 0.45),)

TRANSPORT = (
    rotating(
        "pinch-roller",
        "pinch roller",
        "worn pinch roller",
        mended_by="replace the roller",
        left="flutter, and azimuth weaves",
        odds=1.3,
        more=(Move("weave", 1.0, 0.6),),
    ),
    rotating(
        "capstan",
        "capstan",
        "bent or dirty capstan",
        mended_by="clean or replace the capstan",
        left="flutter on every note",
    ),
    rotating("reel", "reel", "binding reel or hub", mended_by="free the reel, or change the shell", left="slow wow"),
    rotating("idler", "idler", "worn idler", mended_by="replace the idler", left="flutter", odds=0.4),
    Cause(
        "belt",
        "slipping or worn belt",
        (
            *(
                Variant("both", (Move("part", 1.9, 0.5, at=(n,)), *ROUGH), (Curve("drift", 0.7),), 0.25)
                for n in (PARTS.index("belt"), PARTS.index("idler"))  # put down to the idler if its rate is unknown
            ),
            Variant("both", ROUGH, (Curve("drift", 0.7),), 0.5),
        ),
        1.2,
        "×",
        "replace the belt",
        "speed drifts",
        look="look at the belt: shiny, slack, cracked?",
        look_minutes=3.0,
    ),
    Cause(
        "tension",
        "tension, guides or pressure pad",
        (both(Move("weave", 1.6, 0.5), Move("dropouts", 1.5, 0.5)),),
        0.7,
        "×",
        "set tension and guides, or replace the pad",
        "azimuth weaves, and level drops out",
        look="measure the tension with a gauge",
        look_minutes=4.0,
    ),
    Cause(
        "motor-speed",
        "motor speed beyond its trimmer",
        (both(Move("wrong_speed", 2.2, 0.45), share=0.5), both(Move("wrong_speed", 2.2, 0.45, -1), share=0.5)),
        0.8,
        "%",
        "repair the motor's regulation",
        "pitch is wrong",
        shown_by="speed",
    ),
    Cause(
        "wrong-mains-frequency",
        "motor made for another mains frequency",
        (both(Move("wrong_speed", 20.0, 0.03), share=0.5), both(Move("wrong_speed", 16.7, 0.03, -1), share=0.5)),
        0.5,
        "%",
        "change the motor's pulley",
        "pitch is wrong by a fifth",
        shown_by="speed",
    ),
    Cause(
        "wrong-speed-tape",
        "speed tape of another frequency",
        (both(Move("wrong_speed", 5.0, 0.02), share=0.5), both(Move("wrong_speed", 4.76, 0.02, -1), share=0.5)),
        0.6,
        "%",
        "take the right tape, or the right frequency",
        "speed is set wrong",
        shown_by="speed",
    ),
)
