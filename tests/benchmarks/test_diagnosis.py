"""How good diagnoses are for machines with physics other than the model's, as a table; nothing is tuned on them."""

from __future__ import annotations

import pytest

from tests.diagnosis.scores import judged, ranked, reliability, share, table
from tests.diagnosis.suggestions import IN_DOUBT, followed, visit, worth

pytestmark = pytest.mark.long

CASES, STRANGE = range(50_000, 50_300), range(60_000, 60_050)
SUGGESTED, WORTH = range(80_000, 80_100), range(90_000, 90_028)


def test_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    cases = judged(CASES)
    strange = judged(STRANGE, strange=True)
    with capsys.disabled():
        print("\n" + "\n".join(table(cases, strange)))
    assert reliability(cases)[1] <= 0.02


def test_the_table_of_suggested_tests(capsys: pytest.CaptureFixture[str]) -> None:
    """The first cause after no, one and two suggested tests, and the worth of a suggestion."""
    lines = []
    for whole in (False, True):
        starts = [visit(seed, whole=whole) for seed in SUGGESTED]
        said = [[ranked(d) for d in followed(s, 2)] for s in starts]
        for tests in (0, 1, 2):
            ends = [(s.truth.causes, names[tests]) for s, names in zip(starts, said, strict=True)]
            first = share([names[0] == true[0] for true, names in ends if len(true) == 1])
            both = share([set(true) <= set(names[:3]) for true, names in ends if len(true) == 2])
            begun = "all" if whole else "record and replay"
            lines.append(f"begun with {begun}, {tests} tests: first {first}, both in the first three {both}")
    found = [worth(seed, IN_DOUBT[seed % len(IN_DOUBT)]) for seed in WORTH]
    for measure, of in ((0, "fall of doubt"), (1, "fall of surprise, the best chosen with the truth known")):
        bits = [w[measure] for w in found if w is not None]
        got = sum(w.suggested for w in bits) / sum(w.best for w in bits)
        lines.append(f"suggested test: {100 * got:.0f} % of the best by hindsight, {of}, {len(bits)} visits")
    with capsys.disabled():
        print("\n" + "\n".join(lines))
