"""How long may elastomers lie in the store before they are fitted?

In: a material as a site writes it. Out: its code and shelf life. Next: `seallife.spares.pools`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from types import MappingProxyType

import numpy as np
import pandas as pd

__all__ = ["SHELF_YEARS", "elastomers_in", "shelf_life"]

_GROUPS = {
    (5.0, 2.0): "BR NR IR SBR AU EU",
    (7.0, 3.0): "NBR XNBR HNBR CR IIR BIIR CIIR ACM CO ECO",
    (10.0, 5.0): "EPM EPDM FKM FFKM FEPM CM CSM VMQ MQ PMQ FMQ PVMQ FVMQ",
}
SHELF_YEARS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {code: years for years, codes in _GROUPS.items() for code in codes.split()}
)
"""Code of the elastomer (ISO 1629) -> years in the store from the day of cure, and years more after
an inspection, for parts not assembled (groups of ISO 2230; the less usual ones from memory).

Assembled seals age too: the years of the standard are a limit for them, no promise.
"""

_IN_A_SENTENCE = frozenset(SHELF_YEARS) - {
    *("BR", "NR", "IR", "AU", "EU", "CR", "CO", "ECO", "CM", "MQ"),
}
"""Codes that are hardly ever another word: "Nr. 5" is no natural rubber."""


def elastomers_in(texts: Iterable[str], *, described: bool = False) -> list[str]:
    """Which elastomers does each text name?

    Parameters
    ----------
    texts : iterable of str
        Cells of a column for the elastomer, or descriptions.
    described : bool
        True for descriptions: two-letter codes that are words or signs of other things there are
        passed over.

    Returns
    -------
    list of str
        Codes with a stroke between, '' where there is none.

    Examples
    --------
    >>> elastomers_in(["fkm", "FFKM/EPDM", "graphite"])
    ['FKM', 'EPDM/FFKM', '']
    >>> elastomers_in(["Seal Nr. 5, 60 mm, EPDM"], described=True)
    ['EPDM']
    """
    known = _IN_A_SENTENCE if described else SHELF_YEARS
    return [
        "/".join(sorted({w for w in re.findall(r"[A-Z]+", text.upper()) if w in known}))
        for text in texts
    ]


def shelf_life(codes: Iterable[str]) -> pd.DataFrame:
    """How many years may each lie in the store?

    Parameters
    ----------
    codes : iterable of str
        As `elastomers_in` gives them; of several the shortest life counts.

    Returns
    -------
    pandas.DataFrame
        shelf_years, shelf_more_years (after an inspection); NaN where no elastomer is known.
    """
    spans = [[SHELF_YEARS[c] for c in code.split("/") if c] for code in codes]
    years = [min(s) if s else (np.nan, np.nan) for s in spans]
    return pd.DataFrame(years, columns=["shelf_years", "shelf_more_years"], dtype=float)
