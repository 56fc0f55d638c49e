"""Two small helpers of the demo: rows as tuples, data files.

In: a table, a file name. Out: rows, settings. Next: all modules of `seallife.demo`.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

import pandas as pd

__all__ = ["each", "load_toml"]


def each(frame: pd.DataFrame) -> list[Any]:
    """Rows of a table as named tuples, in their order."""
    return list(frame.itertuples())


@cache
def load_toml(name: str) -> dict[str, Any]:
    """What does this data file of the demo hold?"""
    return tomllib.loads(files("seallife.demo").joinpath(name).read_text(encoding="utf-8"))
