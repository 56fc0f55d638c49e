"""Which elastomer does a site mean?

In: a material as a site writes it. Out: its code. Next: `seallife.spares.pools`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

__all__ = ["elastomers_in"]

_CODES = frozenset(
    (
        *("BR", "NR", "IR", "SBR", "AU", "EU", "NBR", "XNBR", "HNBR", "CR", "IIR", "BIIR", "CIIR"),
        *("ACM", "CO", "ECO", "EPM", "EPDM", "FKM", "FFKM", "FEPM", "CM", "CSM"),
        *("VMQ", "MQ", "PMQ", "FMQ", "PVMQ", "FVMQ"),
    )
)
"""Codes of ISO 1629 (the less usual ones from memory)."""

_IN_A_SENTENCE = _CODES - {
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
    known = _IN_A_SENTENCE if described else _CODES
    return [
        "/".join(sorted({w for w in re.findall(r"[A-Z]+", text.upper()) if w in known}))
        for text in texts
    ]
