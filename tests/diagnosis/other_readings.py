"""The readings that a bench takes of a machine from `other_machines`: a quick check or a whole line-up."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.diagnosis.other_machines import (
    BY_QUICK_CHECK,
    CASSETTE_ONLY,
    DROPOUTS,
    FLUTTER,
    GRADES,
    KINDS,
    REEL_TONES,
    SEVERITIES,
    SINGLES,
    TONES,
    WANDER,
    WEAVE,
    OtherMachine,
    Truth,
)

SIDES = ("left", "right")
CIRCUITS = {"encoder": "encoding_error", "decoder": "decoding_error"}
STRANGE = ("resonance", "step", "waver")


class Visit:
    """Readings in the order in which they are taken."""

    def __init__(self, machine: OtherMachine) -> None:
        self.m, self.rng = machine, machine.rng
        self.out: list[dict[str, Any]] = []
        self.tones = TONES if machine.cassette else REEL_TONES
        self.reference = {
            "record-replay": 400.0 if machine.cassette else 1000.0,
            "reference-tape": 315.0 if machine.cassette else 1000.0,
        }

    def add(
        self, at: tuple[str, str], of: str, channel: str, value: float | None, unit: tuple[str, float], **more: Any
    ) -> None:
        """Keep a reading: stage and source, quantity, channel, value, and its unit with the uncertainty."""
        item = {"stage": at[0], "source": at[1], "quantity": of, "channel": channel, "unit": unit[0]} | more
        self.out.append(item | {"value": None if value is None else float(value), "uncertainty": float(unit[1])})

    def levels(self, stage: str, source: str) -> None:
        m, ref = self.m, self.reference[source]
        for c in SIDES:
            dead = "dead-channel" in m.causes and c == m.one
            level = m.tone(c, np.array([ref]), stage, source, 0.0)[0] - (45.0 if dead else 0.0)
            u = 2 * WANDER[m.grade] * 0.8
            name = "level" if source == "reference-tape" else "record_replay_level"
            self.add((stage, source), name, c, level, ("dB", u), frequency_hz=ref, level_db=0.0)
            at = np.append(self.tones, ref)
            read = m.tone(c, at, stage, source, -20.0)
            for hz, db in zip(self.tones, read[:-1] - read[-1], strict=True):
                value = None if dead else db
                self.add(
                    (stage, source), "response", c, value, ("dB", u * (1 + hz / 1e4)), frequency_hz=hz, level_db=-20.0
                )

    def azimuth(self, stage: str, source: str) -> None:
        m = self.m
        angle = m.angle(source)
        us = angle * 2.909e-4 * m.kind["s"] / m.kind["v"] * 1e6 + m.scatter
        inverted = "inverted-channel" in m.causes
        for hz in (1000.0, 3150.0, 10000.0):
            read = us + self.rng.normal(0, 0.3 + 0.4 * WEAVE[m.grade])
            if inverted:
                period = 1e6 / hz
                read = (read + period / 2 + period / 2) % period - period / 2
            self.add(
                (stage, source),
                "azimuth_delay",
                "left-right",
                read,
                ("µs", 1.0 + 0.5 * WEAVE[m.grade]),
                frequency_hz=hz,
                level_db=-20.0,
            )

    def weave(self, stage: str) -> None:
        m = self.m
        value = WEAVE[m.grade] * m.rng.lognormal(0, 0.3)
        value *= (1 + 2.5 * m.size) if "pinch-roller" in m.causes else (1 + 4 * m.size) if "tension" in m.causes else 1
        self.add(
            (stage, "reference-tape"), "azimuth_weave", "left-right", value, ("µs", 0.2 * value), frequency_hz=10000.0
        )

    def flutter(self, stage: str) -> None:
        m, r = self.m, self.rng
        capstan, roller, reel = m.kind["parts"]
        rates = {
            n: m.kind["v"] / np.pi / d * m.rates_off[n]
            for n, d in (("capstan", capstan), ("pinch", roller), ("reel", reel))
        }
        base = FLUTTER[m.grade]
        depth = {n: 0.35 * base * r.lognormal(0, 0.4) for n in rates}
        cause = {"capstan": "capstan", "pinch-roller": "pinch", "reel": "reel"}
        for name, part in cause.items():
            if name in m.causes:
                depth[part] += (0.25 + 2 * base) * m.size
        rest = 0.7 * base * r.lognormal(0, 0.2)
        drift = r.normal(0, 0.06)
        if "belt" in m.causes:
            rest += 0.2 * m.size
            drift = float(r.choice([-1, 1])) * 0.6 * m.size
            if r.random() < 0.6:
                depth["belt"], rates["belt"] = 0.2 * m.size, rates["capstan"] * r.uniform(0.6, 0.9)
        if m.strange == "waver":
            depth["?"], rates["?"] = 0.4, r.choice([2.4, 3.6, 13.0, 22.0]) * r.uniform(0.95, 1.05)
        weight = {n: 1 / np.sqrt(1 + (0.8 / f) ** 2) / np.sqrt(1 + (f / 25) ** 2) for n, f in rates.items()}
        total = np.sqrt(sum((depth[n] * weight[n]) ** 2 for n in depth) + rest**2)
        for c in SIDES:
            read = total * r.lognormal(0, 0.05)
            self.add(
                (stage, "reference-tape"),
                "wow_and_flutter",
                c,
                read,
                ("%", 0.1 * read),
                frequency_hz=3150.0,
                method="IEC 60386 weighted two-sigma",
            )
            for n, peak in depth.items():
                self.add(
                    (stage, "reference-tape"),
                    "flutter_component",
                    c,
                    peak * r.lognormal(0, 0.05),
                    ("%", 0.1 * peak),
                    frequency_hz=rates[n],
                )
        wrong = {
            "motor-speed": 2.2 * m.sign * m.size**0.6,
            "wrong-mains-frequency": 20.0 if m.sign > 0 else -16.7,
            "wrong-speed-tape": 5.0 if m.sign > 0 else -4.76,
        }
        speed = m.set["speed", "both"] + r.normal(0, 0.03) + sum(by for name, by in wrong.items() if name in m.causes)
        self.add((stage, "reference-tape"), "speed_error", "both", speed, ("%", 0.08), frequency_hz=3150.0)
        self.add((stage, "reference-tape"), "speed_drift", "both", drift, ("%", 0.05), frequency_hz=3150.0)

    def noise(self, stage: str) -> None:
        m, r = self.m, self.rng
        loss_hz = 6000.0
        for c in SIDES:
            amplifier = -70.0 + m.rng.normal(0, 1)
            if "amplifier-noise" in m.causes and m.side in (c, "both"):
                amplifier += 14 + 6 * m.size
            film = m.film["dirt-replay-head"][c] if stage == "before-cleaning" else 0.0
            tape = -55.0 + m.tape["hiss"] - 0.5 * 54.6 * film * loss_hz * m.per_um
            tape -= 1.0 * ("tape-of-another-type" in m.causes)
            magnetic = "magnetised-head" in m.causes and stage == "before-cleaning"
            tape += 4.0 * m.size**0.5 if magnetic else 0.0
            up = m.set["replay level", c]
            total = 10 * np.log10(10 ** (tape / 10) + 10 ** (amplifier / 10)) + up
            self.add(
                (stage, "record-replay"),
                "signal_to_noise",
                c,
                -total + r.normal(0, 0.5),
                ("dB", 0.5),
                method="A-weighted rms",
            )
            self.add(
                (stage, "tape-stopped"),
                "noise",
                c,
                amplifier + up - 12 + r.normal(0, 0.5),
                ("dBFS", 0.5),
                method="A-weighted rms",
            )
            h2 = 0.15 * r.lognormal(0, 0.5) + (
                1.2 * m.size if magnetic or ("leaky-record-capacitor" in m.causes) else 0.0
            )
            self.add(
                (stage, "record-replay"), "second_harmonic", c, h2, ("%", 0.1 * h2), frequency_hz=400.0, level_db=0.0
            )

    def erasure(self, stage: str) -> None:
        m = self.m
        low = 30 * m.size**0.5 if "weak-erasure" in m.causes else 13 * m.size if "weak-oscillator" in m.causes else 0.0
        low += 28 * m.size**0.5 if "dirty-erase-head" in m.causes and stage == "before-cleaning" else 0.0
        for c in SIDES:
            self.add(
                (stage, "record-replay"),
                "erasure",
                c,
                max(8.0, 70 + m.drift_us - low + self.rng.normal(0, 2)),
                ("dB", 1.0),
                frequency_hz=1000.0,
            )

    def proof(self, stage: str) -> None:
        m, r = self.m, self.rng
        for c in SIDES:
            over = m.set["record level", c] + m.tape["level"] - m.mol(c)
            h3 = 3.0 * 10 ** (over * m.third_power / 20)
            h3 += 3.0 * m.size if "input-clipping" in m.causes else 0.0
            self.add(
                (stage, "record-replay"),
                "third_harmonic",
                c,
                h3 * r.lognormal(0, 0.08),
                ("%", 0.1 * h3),
                frequency_hz=400.0,
                level_db=0.0,
            )
            mol = m.mol(c) + m.set["replay level", c] - (1.5 * m.size if "input-clipping" in m.causes else 0.0)
            self.add(
                (stage, "record-replay"),
                "maximum_output_level",
                c,
                mol + r.normal(0, 0.3),
                ("dB", 0.4),
                frequency_hz=315.0,
            )
            hum = -78 + r.normal(0, 3) + ((22 + 4 * m.size) if "hum" in m.causes else 0.0)
            self.add(
                (stage, "record-replay"),
                "hum",
                c,
                hum,
                ("dBFS", 1.0),
                frequency_hz=50.0,
                method="total of mains frequency and harmonics",
            )
            rate = DROPOUTS[m.grade] * r.lognormal(0, 0.4)
            rate *= 1 + 4 * m.size * (
                ("tension" in m.causes) or bool(m.film["worn-contour"][c] and "worn-contour" in m.causes)
            )
            self.add(
                (stage, "record-replay"),
                "dropout_rate",
                c,
                float(r.poisson(rate)),
                ("per minute", 1.0 + np.sqrt(rate)),
                frequency_hz=3150.0,
            )
        separation = 44 + r.normal(0, 3) - (20 * m.size**0.4 if "poor-separation" in m.causes else 0.0)
        beyond = max(0.0, m.height - (m.kind["s"] - m.kind["w"])) / m.kind["w"]
        separation = min(separation, -20 * np.log10(beyond + 1e-3))
        sign = -1 if "swapped-channels" in m.causes else 1
        for driven in SIDES:
            self.add(
                (stage, "record-replay"),
                "separation",
                "left-right",
                sign * (separation + r.normal(0, 1)),
                ("dB", 1.0),
                frequency_hz=1000.0,
                driven=driven,
            )
        mono = -22.0 if "inverted-channel" in m.causes else -0.1
        self.add((stage, "record-replay"), "mono_sum", "both", mono, ("dB", 0.1), frequency_hz=400.0)

    def circuits(self) -> None:
        m, r = self.m, self.rng
        for source in ("encoder", "decoder"):
            for c in SIDES:
                bad = source in m.causes and m.side in (c, "both")
                depth = (-2.4 * m.size if bad else 0.0) * (1 if m.school else -1)
                for hz, db in ((1000.0, -20.0), (3000.0, -30.0), (5000.0, -30.0), (10000.0, -40.0)):
                    shape = min(1.0, hz / 4000) * min(1.0, -db / 30)
                    value = depth * shape + r.normal(0, 0.35)
                    at = ("after-cleaning", source)
                    self.add(at, CIRCUITS[source], c, value, ("dB", 0.6), frequency_hz=hz, level_db=db)


def make(
    seed: int, causes: tuple[str, ...] | None = None, *, strange: bool = False, plan: str = "", again: int = 0
) -> tuple[dict[str, Any], Truth]:
    """A case in the form of the contract, and its hidden truth; causes are random where none are given.

    With `again`, the same machine is read another time: only what scatters from reading to reading differs.
    """
    rng = np.random.default_rng(seed)
    kind, grade = str(rng.choice(list(KINDS))), str(rng.choice(GRADES, p=[0.2, 0.3, 0.3, 0.2]))
    plan = plan or str(rng.choice(["quick", "whole", "whole"]))
    severity = str(rng.choice(list(SEVERITIES)))
    if causes is None:
        wanted = int(rng.choice([0, 1, 2], p=[0.2, 0.55, 0.25]))
        fit = [
            n for n in SINGLES
            if (KINDS[kind]["heads"] == 3 or n != "dirt-record-head")
            and (kind.startswith("cassette") or n not in CASSETTE_ONLY)
            and (plan == "whole" or n in BY_QUICK_CHECK)
        ]  # fmt: skip
        causes = tuple(str(c) for c in rng.choice(fit, wanted, replace=False))
        if {"tape-selector", "tape-of-another-type"} <= set(causes) or {"dead-channel"} & set(causes):
            causes = causes[:1]
    if "dirt-record-head" in causes and KINDS[kind]["heads"] == 2:
        kind = "cassette-3"
    if CASSETTE_ONLY & set(causes) and not kind.startswith("cassette"):
        kind = "cassette-2"
    m = OtherMachine(rng, kind, grade, school=seed % 2, causes=causes, size=SEVERITIES[severity])
    if strange:
        m.strange = str(rng.choice(STRANGE if plan == "whole" else STRANGE[:2]))
        m.strange_db = float(rng.choice([-1, 1])) * rng.uniform(3.5, 7)
        m.strange_hz = float(rng.choice([180.0, 2500.0, 4500.0, 7000.0]))
    if again:
        m.rng = np.random.default_rng((seed, again))
    visit = Visit(m)
    visit.levels("before-cleaning", "record-replay")
    if plan == "whole":
        visit.noise("before-cleaning")
        visit.erasure("before-cleaning")
    visit.levels("after-cleaning", "record-replay")
    if plan == "whole" or rng.random() < 0.5:
        visit.levels("after-cleaning", "reference-tape")
        visit.azimuth("after-cleaning", "reference-tape")
    if plan == "whole":
        visit.weave("after-cleaning")
        visit.flutter("after-cleaning")
        visit.noise("after-cleaning")
        visit.erasure("after-cleaning")
        if m.kind["heads"] == 3:
            visit.azimuth("after-cleaning", "record-replay")
        visit.proof("after-cleaning")
        if m.cassette:
            visit.circuits()
    if plan == "whole" and rng.random() < 0.5:
        m.line_up()
        visit.levels("as-left", "reference-tape")
        visit.azimuth("as-left", "reference-tape")
        visit.levels("as-left", "record-replay")
    k = m.kind
    parts = [
        {"name": n, "diameter_mm": d} for n, d in zip(("capstan", "pinch roller", "reel"), k["parts"], strict=True)
    ]
    facts = {"heads": k["heads"], "speed_mm_per_s": k["v"], "track_width_mm": k["w"], "track_spacing_mm": k["s"],
             "equalisation_us": k["eq"], "replay_gap_um": k["gap"], "parts": parts}  # fmt: skip
    truth = Truth(causes, kind, grade, severity, plan, m.strange, m.out_of_line, m.found)
    return {"machine": facts, "readings": visit.out, "answers": {}}, truth
