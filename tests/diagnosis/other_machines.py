"""Machines whose physics differs from that of the diagnosis, and the readings that a bench takes of them.

Nothing here comes from `bench`: dirt lies in patches, gaps are ragged, equalisers resonate or shelve, every head has a
bump, resonances make responses rough, the errors of trimmers have heavy tails, and distortion follows no square law.
Two schools differ in the laws themselves. Magnitudes: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Rng = np.random.Generator
TONES = np.array([40, 63, 125, 250, 1000, 2000, 4000, 6300, 8000, 10000, 12500], float)
REEL_TONES = np.array([31.5, 63, 125, 250, 500, 2000, 4000, 8000, 10000, 12500, 16000], float)
SEVERITIES = {"barely": 0.55, "plain": 1.0, "gross": 1.9}
GRADES = ("studio", "good", "average", "poor")
ROUGH = {"studio": 0.2, "good": 0.35, "average": 0.6, "poor": 1.0}
WANDER = {"studio": 0.03, "good": 0.06, "average": 0.14, "poor": 0.3}
WEAVE = {"studio": 0.25, "good": 0.6, "average": 2.0, "poor": 4.5}
DROPOUTS = {"studio": 0.3, "good": 1.0, "average": 6.0, "poor": 20.0}
FLUTTER = {"studio": 0.03, "good": 0.04, "average": 0.09, "poor": 0.2}
KINDS: dict[str, dict[str, Any]] = {
    "cassette-3": {
        "heads": 3,
        "v": 47.625,
        "w": 0.6,
        "s": 0.9,
        "eq": [120, 3180],
        "gap": 1.0,
        "parts": (2.2, 13.0, 36.0),
    },
    "cassette-2": {
        "heads": 2,
        "v": 47.625,
        "w": 0.6,
        "s": 0.9,
        "eq": [120, 3180],
        "gap": 1.4,
        "parts": (2.5, 12.0, 40.0),
    },
    "reel-38": {"heads": 3, "v": 381.0, "w": 2.75, "s": 3.5, "eq": [35, 0], "gap": 3.0, "parts": (9.0, 40.0, 150.0)},
    "reel-19": {
        "heads": 2,
        "v": 190.5,
        "w": 2.08,
        "s": 3.96,
        "eq": [50, 3180],
        "gap": 3.5,
        "parts": (7.0, 35.0, 120.0),
    },
}
SINGLES = (
    *("dirt-replay-head", "dirt-record-head", "dirt-left-after-cleaning", "worn-replay-gap", "worn-contour"),
    *("head-height", "head-bump", "magnetised-head", "dirty-erase-head", "weak-erasure", "equalisation-switch"),
    *("dried-capacitor", "amplifier-noise", "hum", "poor-separation", "weak-oscillator", "encoder", "decoder"),
    *("tape-selector", "tape-of-another-type", "aged-reference-tape", "pinch-roller", "capstan", "reel", "belt"),
    *("tension", "dead-channel", "inverted-channel", "swapped-channels", "leaky-record-capacitor", "limiter-left-in"),
    *("input-clipping", "pilot-filter-left-in", "noise-reduction-left-in", "reference-tape-of-another-kind"),
    *("motor-speed", "wrong-mains-frequency", "wrong-speed-tape"),
)
BY_QUICK_CHECK = {"dirt-replay-head", "head-bump", "dried-capacitor", "dead-channel"}
CASSETTE_ONLY = {"tape-selector", "tape-of-another-type", "encoder", "decoder", "noise-reduction-left-in"}
CASSETTE_ONLY |= {"pilot-filter-left-in"}


@dataclass
class Truth:
    """The hidden causes of a case."""

    causes: tuple[str, ...]
    kind: str
    grade: str
    severity: str
    plan: str
    strange: str = ""
    out_of_line: bool = False
    settings: dict[tuple[str, str], float] = field(default_factory=dict)


class OtherMachine:
    """A machine with its faults, its tape and readings that vary."""

    def __init__(self, rng: Rng, kind: str, grade: str, *, school: int, causes: tuple[str, ...], size: float) -> None:
        self.rng, self.kind, self.grade, self.school = rng, KINDS[kind], grade, school
        self.causes, self.size = causes, size
        self.cassette = kind.startswith("cassette")
        self.per_um = 1e-3 / self.kind["v"]
        self.rough = {side: self._roughness() for side in ("replay", "record")}
        self.side = rng.choice(["left", "right", "both"], p=[0.25, 0.25, 0.5])
        self.one = str(rng.choice(["left", "right"]))
        self.film = {}
        for name in ("dirt-replay-head", "dirt-record-head", "dirt-left-after-cleaning", "worn-contour"):
            typical = {"dirt-left-after-cleaning": 0.5, "worn-contour": 0.55}.get(name, 0.8)
            typical *= (self.kind["v"] / 47.625) ** 0.6
            there = name in causes
            usual = 0.06 if name.startswith("dirt-re") else 0.0
            self.film[name] = {
                c: (typical * size * rng.lognormal(0, 0.2) if there and self.side in (c, "both") else 0.0)
                + abs(rng.normal(0, usual))
                for c in ("left", "right")
            }
        self.cover = rng.uniform(0.75, 1.0)
        self.gap_ratio = np.exp(rng.normal(0, 0.07)) * (1 + (1.0 * size**0.8 if "worn-replay-gap" in causes else 0.0))
        self.height = 0.32 * size**0.5 * (self.kind["w"] / 0.6) ** 0.7 if "head-height" in causes else 0.0
        t = rng.standard_t(4, 40)
        spread = rng.choice([0.25, 1.0, 1.6])
        self.out_of_line = spread > 0.5
        ch = ("left", "right")
        self.set = {("replay level", c): 1.1 * spread * t[n] for n, c in enumerate(ch)}
        self.set |= {("replay equalisation", c): 0.7 * spread * t[n + 2] for n, c in enumerate(ch)}
        self.set |= {("record level", c): 0.9 * spread * t[n + 4] for n, c in enumerate(ch)}
        self.set |= {("record equalisation", c): 0.7 * spread * t[n + 6] for n, c in enumerate(ch)}
        self.set |= {("bias", c): 0.8 * spread * np.clip(t[n + 8], -3, 3) for n, c in enumerate(ch)}
        self.set |= {("replay azimuth", "both"): 2.5 * spread * np.clip(t[10], -4, 4)}
        self.set |= {("record azimuth", "both"): 2.0 * spread * np.clip(t[11], -4, 4)}
        self.set |= {("speed", "both"): 0.35 * spread * np.clip(t[12], -3, 3)}
        if not self.cassette:
            for key in list(self.set):
                if "azimuth" in key[0]:
                    self.set[key] *= 0.6
        self.found = dict(self.set)
        self.tape = {
            "level": rng.normal(0, 0.7),
            "treble": rng.normal(0, 0.8),
            "mol": rng.normal(0, 1.0),
            "hiss": rng.normal(0, 1.8),
        }
        self.scatter = rng.normal(0, 1.0) * (0.3 if not self.cassette else 1.0)
        self.drift_us = rng.normal(0, 1.0)
        self.sign = float(rng.choice([-1, 1]))
        self.flux = bool(rng.random() < 0.6)
        self.third_power = rng.choice([1.7, 2.0, 2.3])
        self.low = {
            c: (90.0 * size * rng.lognormal(0, 0.2) if "dried-capacitor" in causes and c == self.one else 0.0)
            for c in ch
        }
        self.low_side = rng.choice(["replay", "record"])
        self.rates_off = dict(zip(("capstan", "pinch", "reel"), np.exp(rng.normal(0, [0.03, 0.04, 0.2])), strict=True))
        self.strange = ""
        self.strange_db, self.strange_hz = 0.0, 1e3

    def line_up(self) -> None:
        """Turn the trimmers by the readings, so that they mask faults as far as they can."""
        for c in ("left", "right"):
            self.set["replay azimuth", "both"] = self.rng.normal(0, 0.4)
            self.set["record azimuth", "both"] = self.rng.normal(0, 0.4)
            self.set["bias", c] = self.rng.normal(0, 0.4)
            for source, level, top in (
                ("reference-tape", "replay level", "replay equalisation"),
                ("record-replay", "record level", "record equalisation"),
            ):
                read = self.tone(c, np.array([400.0, 10000.0]), "as-left", source, -20.0)
                self.set[top, c] -= float(np.clip(read[1] - read[0], -5.0, 5.0))
                self.set[level, c] -= float(np.clip(read[0], -6.0, 6.0))

    def _roughness(self) -> dict[str, Any]:
        r, scale = self.rng, ROUGH[self.grade]
        shared = [(r.uniform(5, 14.2), r.uniform(0.4, 1.6), r.normal(0, 0.5)) for _ in range(6)]
        own = {
            c: [(r.uniform(5, 14.2), r.uniform(0.4, 1.6), r.normal(0, 0.2)) for _ in range(4)]
            for c in ("left", "right")
        }
        return {
            "shared": shared,
            "own": own,
            "end": r.normal(0, 0.9),
            "scale": scale,
            "bump": r.normal(0, 0.7),
            "at": r.uniform(30, 90),
        }

    def _curve(self, side: str, channel: str, hz: Values) -> Values:
        q = self.rough[side]
        at = np.log2(hz)
        out = sum(a * np.exp(-0.5 * ((at - m) / w) ** 2) for m, w, a in (*q["shared"], *q["own"][channel]))
        out = out + q["end"] * (hz / 12500) ** 2
        if side == "replay":
            out = out + q["bump"] * np.sin(2 * np.pi * q["at"] / hz) * np.minimum(1, 120 / hz)
        return np.asarray(q["scale"] * out)

    # ------------------------------------------------------------- laws

    def _spacing(self, um: float, hz: Values, db: float) -> Values:
        whole = 10 ** (-db * um * hz * self.per_um / 20)
        return np.asarray(20 * np.log10((1 - self.cover) + self.cover * whole + 1e-4))

    def _gap(self, ratio: float, hz: Values) -> Values:
        g = self.kind["gap"] * (1.08 if self.school else 1.12)
        spread = np.linspace(0.88, 1.12, 7) if self.school else np.linspace(0.95, 1.05, 5)

        def read(r: float) -> Values:
            return np.asarray(np.abs(np.mean([np.sinc(g * r * s * hz * self.per_um) for s in spread], axis=0)) + 0.02)

        return np.asarray(20 * np.log10(read(ratio) / read(1.0)))

    def _tilt(self, arcmin: float, hz: Values) -> Values:
        y = np.linspace(-0.5, 0.5, 41) * self.kind["w"] * 1e3 * arcmin * 2.909e-4
        weight = 1 + (0.15 * np.cos(np.pi * np.linspace(-1, 1, 41)) if self.school else 0)
        phase = np.exp(2j * np.pi * np.outer(hz * self.per_um, y))
        return np.asarray(20 * np.log10(np.abs((phase * weight).mean(axis=1) / np.mean(weight)) + 0.01))

    def _equaliser(self, db: float, hz: Values) -> Values:
        t1 = self.kind["eq"][0] * 1e-6
        if self.school:  # a resonance at the top
            return np.asarray(db * (hz / 14e3) ** 1.4 / (0.25 + (hz / 14e3) ** 1.4) * 1.2)
        k = 10 ** (db / 20)
        w = 2 * np.pi * hz * t1
        return np.asarray(10 * np.log10((1 + (w * k) ** 2) / (1 + w**2)))

    def _one_pole(self, corner: float, hz: Values) -> Values:
        return np.asarray(-10 * np.log10(1 + (corner / hz) ** 2))

    def bias(self, c: str) -> float:
        shift = 0.0
        if "tape-selector" in self.causes:
            shift += 3.6 * self.size**0.3
        if "weak-oscillator" in self.causes:
            shift -= 2.6 * self.size
        if "tape-of-another-type" in self.causes:
            shift -= 3.0 * self.size**0.3
        return float(self.set["bias", c] + shift)

    def replay(self, c: str, hz: Values, stage: str, angle: float) -> Values:
        """Error of the replay side, dB."""
        film = self.film["dirt-left-after-cleaning"][c] + self.film["worn-contour"][c]
        film += self.film["dirt-replay-head"][c] if stage == "before-cleaning" else 0.0
        out = self.set["replay level", c] + self._equaliser(self.set["replay equalisation", c], hz)
        out = out + self._curve("replay", c, hz) + self._spacing(film, hz, 54.6) + self._gap(self.gap_ratio, hz)
        out = out + self._tilt(angle, hz)
        if "worn-contour" in self.causes and self.film["worn-contour"][c]:
            out = out + 1.0 * self.size * np.exp(-0.5 * (np.log2(hz / 60) / 0.8) ** 2)
        if self.height:
            out = out + 20 * np.log10(max(0.1, 1 - self.height / self.kind["w"]))
        if "equalisation-switch" in self.causes:
            change = -4.68 if self.kind["eq"][0] == 120 else -3.0
            t1 = self.kind["eq"][0] * 1e-6
            w, k = 2 * np.pi * hz * t1, 10 ** (change / 20)
            out = out + 10 * np.log10((1 + (w * k) ** 2) / (1 + w**2))
        if "head-bump" in self.causes:
            wave = hz / (70 if self.cassette else 55)
            out = out + 2.6 * self.size * np.sin(np.pi * wave) * np.exp(-0.6 * (wave - 1) ** 2 / 2) * np.minimum(
                1, 1.5 / wave
            )
        if "magnetised-head" in self.causes and stage == "before-cleaning":
            out = out - 0.5 * self.size * (hz / 1e4)
        if self.low_side == "replay":
            out = out + self._one_pole(self.low[c], hz)
        if self.strange == "resonance":
            out = out + self.strange_db * np.exp(-0.5 * (np.log2(hz / self.strange_hz) / 0.35) ** 2)
        if self.strange == "step":
            out = out + self.strange_db * (hz > self.strange_hz)
        return np.asarray(out)

    def record(self, c: str, hz: Values, stage: str, sent: float) -> Values:
        """Error of the record side, dB."""
        head = "dirt-record-head" if self.kind["heads"] == 3 else "dirt-replay-head"
        film = self.film[head][c] if stage == "before-cleaning" else 0.0
        if self.kind["heads"] == 2:
            film += self.film["dirt-left-after-cleaning"][c] + self.film["worn-contour"][c]
        b, k = self.bias(c), hz / 1e4
        slope = 1.6 * (47.625 / self.kind["v"]) ** 0.35 * (1.15 if self.school else 0.9)
        out = self.set["record level", c] + self.set["record equalisation", c] * k**2 / (0.3 + 0.7 * k**2)
        out = out + self._curve("record", c, hz) + self._spacing(film, hz, 40 if self.school else 46)
        out = out + self.tape["level"] + self.tape["treble"] * k**1.2
        out = out - slope * b * k - 0.12 * b**2 * k * (b > 0) + (-0.16 * b**2 if b < 0 else -0.04 * b**2)
        out = out - 0.35 * (10 ** ((sent - 4.5) / 10)) * (1 if sent > -10 else 0) + 0.12 * (sent > -10)
        if "tape-of-another-type" in self.causes:
            out = out - 1.7 * self.size**0.5 + 0.5 * k
        if "limiter-left-in" in self.causes:
            out = out - 2.2 * self.size * (1 if sent > -6 else 0)
        if self.low_side == "record":
            out = out + self._one_pole(self.low[c], hz)
        if "pilot-filter-left-in" in self.causes:
            out = out - 10 * np.log10(1 + (hz / (14.0e3 - 0.9e3 * self.size)) ** 14)
        if "noise-reduction-left-in" in self.causes:
            # A sliding band: at −20 dB 4.3 dB at 1.3 kHz and about 2 dB at the top, after component data sheet NTE2003.
            band = 3.6 * np.exp(-0.5 * (np.log2(hz / 1600) / 1.4) ** 2) + 1.2 * k**0.3
            out = out + max(0.0, (-sent - 5) / 15) * band
        return np.asarray(out)

    # ------------------------------------------------------------- readings

    def angle(self, source: str) -> float:
        """Azimuth between replay head and tape, arcmin: of a recording, that of both heads together."""
        replay = self.set["replay azimuth", "both"]
        if source == "reference-tape":
            return float(replay)
        return float(replay + self.set["record azimuth", "both"]) if self.kind["heads"] == 3 else 0.0

    def tone(self, c: str, hz: Values, stage: str, source: str, sent: float) -> Values:
        """Level error of tones as read."""
        out = self.replay(c, hz, stage, self.angle(source))
        if self.height and source == "record-replay" and self.kind["heads"] == 2:
            out = out - 20 * np.log10(max(0.1, 1 - self.height / self.kind["w"]))  # one head, one track
        if source == "reference-tape":
            if "aged-reference-tape" in self.causes:
                out = out - 2.2 * self.size * (hz / 1e4) ** 1.2
            if "reference-tape-of-another-kind" in self.causes:
                t1 = 1e-6 * self.kind["eq"][0]
                w, k = 2 * np.pi * hz * t1, (120 / 70 if self.cassette else 1.43) ** self.sign
                other = 10 * np.log10((1 + (w * k) ** 2) / (1 + w**2))
                out = out + (1.6 * self.sign * self.size**0.3 if self.flux else other)
            out = out + self.rng.normal(0, 0.1, hz.shape)
        else:
            out = out + self.record(c, hz, stage, sent)
        sd = WANDER[self.grade] * (1 + 1.3 * hz / 1e4)
        if "worn-contour" in self.causes and self.film["worn-contour"][c]:
            sd = sd * 1.8
        return np.asarray(out + self.rng.normal(0, sd))

    def mol(self, c: str) -> float:
        b = self.bias(c)
        out = 4.5 + self.tape["mol"] + (1.1 * b if b < 0 else 0.25 * b)
        out -= 0.6 * ("tape-of-another-type" in self.causes)
        return out
