"""Which lot did the seal come from that went in? A lot has its own column, or stands with the part.

In: columns of orders. Out: lots. Next: `seallife.orders`, `seallife.events`.

Long texts are not read: "suspect lot 4711" may speak of the seal that came out.
"""

from __future__ import annotations

import pandas as pd

__all__ = ["read_lot"]

_NAMED = (
    r"\b(?:LOT|BATCH|LOTE|LOTTO|CHARGE|LOS|PARTIJ)\b[\s.:#-]*(?:(?:NO|NR|N)\b[.º°]*[\s:]*)?"
    r"((?=[A-Z0-9/.-]*\d)[A-Z0-9][A-Z0-9/.-]*[A-Z0-9]|\d)(?![A-Z0-9])"
)


def read_lot(given: pd.Series, part: pd.Series) -> pd.Series:
    """Which lot is each part from?

    Parameters
    ----------
    given : pandas.Series of str
        The lot where a site has a column for it, '' where not.
    part : pandas.Series of str
        The part as the store writes it.

    Returns
    -------
    pandas.Series of str
        In capitals, '' where none is named.

    Examples
    --------
    >>> part = pd.Series(["MECH SEAL 90MM FKM LOT EL-17-11", "O-ring kit, Charge Nr. 88a", ""])
    >>> read_lot(pd.Series(["", "", "b 12"]), part).tolist()
    ['EL-17-11', '88A', 'B 12']
    """
    capitals = part.astype(object).astype(str).str.upper()
    named = capitals.str.extract(_NAMED, expand=False)
    own = given.astype(object).astype(str).str.strip().str.upper()
    return own.where(own != "", named).fillna("").astype(object)
