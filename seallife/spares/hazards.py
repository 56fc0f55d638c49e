"""At which positions is a leak dangerous at once, and which rank as the most critical?

In: positions with fluid, service and service class. Out: a word and a mark each. Next:
`seallife.spares.pools`.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any

import pandas as pd

from seallife.errors import need_columns
from seallife.intake.lexicon import Lexicon, kinds_in

__all__ = ["position_hazards"]


def position_hazards(positions: pd.DataFrame) -> pd.DataFrame:
    """Which positions handle what harms people as soon as it leaks?

    Parameters
    ----------
    positions : pandas.DataFrame
        fluid, service_text, service_class ('' where none).

    Returns
    -------
    pandas.DataFrame
        Index as ``positions``: hazard (what it is, '' where nothing is known), highest (True where
        the fluid is named as benzene, H2S or HF: such positions default to the highest
        criticality). A position without a hazard here is not called harmless: words and classes
        are all that is looked at, and the site's own assessment prevails.
    """
    need_columns(positions, ("fluid", "service_text", "service_class"), "positions")
    known: dict[str, Any] = tomllib.loads(
        (files("seallife.spares") / "hazard_words.toml").read_text("utf-8")
    )
    text = positions["fluid"] + " . " + positions["service_text"]
    found = kinds_in(text, Lexicon({"": known["highest"] | known["flagged"]}))
    named = pd.Series([", ".join(sorted(f)) for f in found], index=positions.index, dtype=object)
    by_class = positions["service_class"].map(known["classes"]).fillna("")
    return pd.DataFrame(
        {
            "hazard": named.where(named != "", by_class),
            "highest": [not f.isdisjoint(known["highest"]) for f in found],
        },
        index=positions.index,
    )
