"""How good a diagnosis is on machines of other physics than its own, as a table; nothing is tuned on these machines."""

from __future__ import annotations

import pytest

from tests.diagnosis.scores import judged, reliability, table

pytestmark = pytest.mark.long

CASES, STRANGE = range(50_000, 50_300), range(60_000, 60_050)


def test_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    cases = judged(CASES)
    strange = judged(STRANGE, strange=True)
    with capsys.disabled():
        print("\n" + "\n".join(table(cases, strange)))
    assert reliability(cases)[1] <= 0.02
