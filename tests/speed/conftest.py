"""The reference of all ratios of whole processes, measured once a run."""

from __future__ import annotations

import pytest
from costs import LIBRARIES, cost


@pytest.fixture(scope="session")
def reference() -> float:
    """Processor time [s] of importing the libraries."""
    return cost("-c", LIBRARIES)[0]
