"""Leak limits: the site's own table. What is shipped is a labelled example, never in force.

In: nothing. Out: a table. Next: later analyses of leakage.
"""

from __future__ import annotations

from importlib.resources import files

import pandas as pd

__all__ = ["example_limits"]


def example_limits() -> pd.DataFrame:
    """What does a table of leak limits look like?

    Returns
    -------
    pandas.DataFrame
        service, leak_ppm (reading that is a leak) [ppmv], repair_from_ppm (reading from which
        repair is due) [ppmv], monitored (by instrument), looked_at (by eye, for drips), rule,
        citation, edition_read.

    Notes
    -----
    An example only. Rules change; which one holds for a position, in which edition, is for the
    site to confirm. Nothing here says that a site complies.
    """
    with (files("seallife.leakage") / "limits.csv").open(encoding="utf-8") as file:
        return pd.read_csv(file)
