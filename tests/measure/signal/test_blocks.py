from __future__ import annotations

import numpy as np
import pytest

from bench.measure.signal.blocks import AT_ONCE, Rows


@pytest.mark.parametrize("count", [0, 1, AT_ONCE - 1, AT_ONCE, AT_ONCE + 1, 3 * AT_ONCE + 7])
def test_rows_come_back_in_order_and_so_do_the_last(count: int) -> None:
    rows = Rows((2,), np.int32)
    for n in range(count):
        rows.append(np.array([n, -n]))
    all_of_them = [[n, -n] for n in range(count)]
    assert len(rows) == count
    assert rows.all().tolist() == all_of_them
    for some in (1, 64, AT_ONCE):
        assert rows.latest(some).tolist() == all_of_them[-some:]
