"""Likelihood ratios of what a person saw, with a cause against without. Common practice, no source."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from bench.diagnosis.causes.cause import Cause

Words = tuple[str, ...]

ANSWERS: tuple[tuple[Words, Words, dict[str, float]], ...] = (
    (
        ("swab",),
        ("brown", "dirty", "dark", "black"),
        {"dirt-replay-head": 4.0, "dirt-record-head": 4.0, "dirty-erase-head": 2.0},
    ),
    (
        ("swab",),
        ("clean", "white"),
        {"dirt-replay-head": 0.35, "dirt-record-head": 0.35, "dirt-left-after-cleaning": 0.5},
    ),
    (
        ("wear", "lens", "head-face", "face"),
        ("groove", "longer", "worn", "flat longer"),
        {"worn-replay-gap": 6.0, "worn-contour": 3.0},
    ),
    (
        ("wear", "lens", "head-face", "face"),
        ("little", "none", "good", "even"),
        {"worn-replay-gap": 0.25, "worn-contour": 0.5},
    ),
    (("lens", "gap"), ("film", "oxide", "dirt", "dark"), {"dirt-left-after-cleaning": 8.0}),
    (("height",), ("too high", "too low", "wrong", "high", "low"), {"head-height": 8.0}),
    (("height",), ("right", "good"), {"head-height": 0.15}),
    (("zenith",), ("wedge", "uneven"), {"worn-contour": 6.0}),
    (("zenith",), ("even", "right"), {"worn-contour": 0.5}),
    (("roller",), ("glazed", "cracked", "shiny", "worn", "hard", "flat"), {"pinch-roller": 8.0}),
    (("roller",), ("good", "dull", "round", "even"), {"pinch-roller": 0.25}),
    (("belt",), ("slack", "cracked", "shiny", "worn", "sticky"), {"belt": 8.0}),
    (("belt",), ("good", "firm", "new"), {"belt": 0.25}),
    (("capstan",), ("bent", "dirty", "wobbles"), {"capstan": 8.0}),
    (("selector", "tape-type"), ("wrong", "other", "another"), {"tape-selector": 30.0}),
    (("selector", "tape-type"), ("right", "correct"), {"tape-selector": 0.03, "tape-of-another-type": 1.0}),
    (("box", "tape-in-use"), ("wrong", "other", "another"), {"tape-of-another-type": 30.0}),
    (("box", "tape-in-use"), ("right", "correct"), {"tape-of-another-type": 0.05}),
    (("equalisation", "eq-switch"), ("wrong", "other", "another"), {"equalisation-switch": 30.0}),
    (("equalisation", "eq-switch"), ("right", "correct"), {"equalisation-switch": 0.03}),
    (("limiter",), ("in", "on"), {"limiter-left-in": 20.0}),
    (("limiter",), ("out", "off"), {"limiter-left-in": 0.03}),
    (("noise-reduction", "nr-switch"), ("in", "on"), {"noise-reduction-left-in": 20.0}),
    (("noise-reduction", "nr-switch"), ("out", "off"), {"noise-reduction-left-in": 0.05}),
    (("filter", "mpx"), ("in", "on"), {"pilot-filter-left-in": 20.0}),
    (("filter", "mpx"), ("out", "off"), {"pilot-filter-left-in": 0.03}),
    (("tension", "pad"), ("wrong", "low", "high", "worn", "missing"), {"tension": 6.0, "worn-contour": 2.0}),
    (("tension", "pad"), ("right", "good"), {"tension": 0.3}),
)
"""Words of the question, words of the answer, and the likelihood ratio for each cause."""

COMPLAINT = "complaint"
"""The question that is answered by what the owner hears, in the owner's words."""
_DULL = ("dirt-replay-head", "dirt-record-head", "dirt-left-after-cleaning", "worn-replay-gap", "worn-contour")
_UNSTEADY = ("pinch-roller", "capstan", "reel", "idler", "belt")
_SPEED = ("motor-speed", "wrong-mains-frequency", "belt")
COMPLAINTS: tuple[tuple[Words, dict[str, float]], ...] = (
    (("dull", "muffled", "sparkle", "treble", "highs"), dict.fromkeys((*_DULL, "equalisation-switch"), 1.7)),
    (("bright", "shrill", "harsh"), {"equalisation-switch": 2.0, "tape-of-another-type": 2.0, "tape-selector": 2.0}),
    (("thin", "bass", "lows"), {"dried-capacitor": 3.0, "head-bump": 1.5}),
    (("noisy", "hiss", "hisses"), {"amplifier-noise": 3.0, "magnetised-head": 3.0, "encoder": 1.5}),
    (("hum", "hums", "buzz", "buzzes"), {"hum": 6.0}),
    (
        ("old music", "old recording", "under the new", "underneath", "erase", "erased"),
        {"dirty-erase-head": 5.0, "weak-erasure": 5.0},
    ),
    (("unsteady", "wow", "flutter", "wobbles", "wavers", "sour"), dict.fromkeys(_UNSTEADY, 3.0)),
    (("slow", "fast", "pitch", "flat", "sharp"), dict.fromkeys(_SPEED, 3.0)),
    (("distorts", "distorted", "distortion"), {"input-clipping": 2.5, "weak-oscillator": 2.5, "tape-selector": 1.5}),
    (("dropouts", "drops", "cuts"), {"tension": 2.5, "worn-contour": 2.5, "dirt-replay-head": 1.5}),
    (("pumps", "pumping", "breathes", "breathing"), {"decoder": 3.0, "encoder": 3.0, "limiter-left-in": 2.0}),
)
"""Words of the owner, and the likelihood ratio for each cause; low, because such words are imprecise."""

GLANCE_MINUTES = 0.3
YES, NO = ("seen", "yes", "true"), ("not seen", "no", "false")


def detection_rates(cause: Cause) -> tuple[float, float]:
    """Probability that an inspection shows a cause that is there, and one that is not: switches are rarely misread."""
    return (0.98, 0.01) if cause.look_minutes <= GLANCE_MINUTES else (0.9, 0.06)


def likelihood_ratios(answers: Mapping[str, str], causes: Sequence[Cause] = ()) -> tuple[dict[str, float], list[str]]:
    """The likelihood ratio of all answers for each cause, and the questions that do not bear on any cause.

    Args:
        answers: by question. If the question is the name of a cause, the answer to its inspection is "seen" or "not
            seen".
        causes: all possible causes.
    """
    by_name = {c.name: c for c in causes}
    out: dict[str, float] = {}
    unknown = []
    for question, answer in answers.items():
        asked = question.lower().replace("_", "-").split("/")[-1]
        said = answer.lower()
        if asked in by_name and said in (*YES, *NO):
            there, without = detection_rates(by_name[asked])
            ratio = there / without if said in YES else (1 - there) / (1 - without)
            out[asked] = out.get(asked, 1.0) * ratio
            continue
        if asked == COMPLAINT:
            for words, moved in COMPLAINTS:
                if any(_has(said, w) for w in words):
                    out |= {cause: out.get(cause, 1.0) * by for cause, by in moved.items()}
            continue
        for questions, words, moved in ANSWERS:
            if any(q in asked for q in questions) and any(_has(said, w) for w in words):
                for cause, ratio in moved.items():
                    out[cause] = out.get(cause, 1.0) * ratio
                break
        else:
            unknown.append(question)
    return out, unknown


def _has(text: str, word: str) -> bool:
    return f" {word} " in f" {' '.join(re.findall('[a-z0-9]+', text))} "
