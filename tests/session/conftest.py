"""Redirects the person's own folders while the store is tested."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True, name="own_data_folder")
def _own_data_folder(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path_factory.mktemp("data")
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    return folder
