"""The stage of the work at which a reading is taken."""

from typing import Literal

Stage = Literal["found-dirty", "found-clean", "left"]
"""As found, before cleaning; as found, after cleaning; as left."""
