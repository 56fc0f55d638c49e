"""Published figures of the trade, each with its source: beside results, never instead of them.

In: nothing. Out: `REFERENCES`. Next: `seallife.report`, `seallife.leakage`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["REFERENCES", "Reference"]


@dataclass(frozen=True)
class Reference:
    """One published figure.

    Attributes
    ----------
    value : float
        The figure.
    unit : str
        Its unit.
    what : str
        What it is, and what it is not.
    source : str
        Where it stands, and whether it was read there.
    """

    value: float
    unit: str
    what: str
    source: str


_API_682 = "API Std 682, 4th ed., annex I, as restated in a public summary; not read there"

REFERENCES: Mapping[str, Reference] = MappingProxyType(
    {
        "seal life aimed at": Reference(
            3.0,
            "years",
            "uninterrupted service a seal selection aims at; a design aim for one seal in its "
            "specified service, not a fleet's mean",
            "API Std 682, 1st ed., mission statement",
        ),
        "seal life aimed at, hours": Reference(
            25_000.0,
            "h",
            "the same aim in hours of running. Were failures random, 90 % of seals would reach "
            "it only with a mean of 237,000 h (27 years)",
            _API_682,
        ),
        "qualification leakage, vapour": Reference(
            1_000.0,
            "ppmv",
            "upper limit at a new seal on the test rig (EPA Method 21); no alarm setting",
            _API_682,
        ),
        "qualification leakage, liquid": Reference(
            5.6,
            "g/h",
            "upper limit per pair of faces at a new seal on the test rig; no alarm setting",
            _API_682,
        ),
    }
)
