"""Share of the seals in service that still run then: kept by class, and taken together.

In: figures by class. Out: `ShareRunning`. Next: `seallife.life.ahead`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from seallife.life.foretold import Counts
from seallife.life.result import TableResult

__all__ = ["ShareRunning"]


@dataclass(frozen=True, eq=False)
class ShareRunning(TableResult):
    """Share of the seals now in service that will still run after a further stretch.

    Attributes
    ----------
    table : DataFrame
        One row per class:

        - ``seals`` in service; ``beyond``: how many of them would pass ages not seen. All that
          follows is of the others alone, ``asked``;
        - ``share_running``: expected share that does not fail before its date, with standard error
          ``share_running_se`` (NaN where no failure was seen) and limits of confidence
          ``share_running_low``, ``share_running_high``;
        - ``expected_failures``: expected number that fails before, with limits of confidence: how
          well the mean of many such fleets is known;
        - ``predicted_failures_low``, ``predicted_failures_high``: *prediction* range of the count
          itself, which is up to chance as well;
        - ``failures_seen``: failures at the ages these seals would pass; ``at_risk_least``: fewest
          lives at risk at any of those ages;
        - ``n``, ``failures``: lives and failures of the class on record; ``status``, ``message``.
    seals : DataFrame
        One row per seal in service, in the caller's order: ``group``, ``now``, ``ahead``,
        ``beyond``, and ``share_of_like``: share of seals of that class and age that runs through
        such a stretch (NaN where beyond). It describes a group and is no forecast for one seal.
    counts : Counts
        How the number of failures of each class is distributed.
    least_at_risk : int
        Lives that had to be at risk at an age for it to count as seen.
    """

    seals: pd.DataFrame
    counts: Counts
    least_at_risk: int

    def together(self, classes: Sequence[Any] | None = None) -> pd.Series[Any]:
        """What share of all classes together runs on, and how many of them fail before?

        Parameters
        ----------
        classes : sequence of labels, optional
            Classes to take together; all where None.

        Returns
        -------
        Series
            ``seals``, ``beyond``, ``asked``, and ``share_running``, ``expected_failures``,
            ``predicted_failures`` with their limits as in ``table``; NaN where none was asked. Each
            class keeps its own curve.

        Raises
        ------
        InputError
            If there is no such class.

        Notes
        -----
        Classes share no life, so that their estimates are independent: limits are built from those
        of the classes, and the count is the sum of theirs.

        Source
        ------
        Zou & Donner (2008), Statistics in Medicine 27, 1693-1702, for the limits of a sum.
        """
        labels = self.table.iloc[:, 0].tolist()
        for label in classes or []:
            self[label]  # refuses a class that is not there
        of = range(len(labels)) if classes is None else (labels.index(c) for c in classes)
        chosen = np.unique(np.fromiter(of, dtype=np.int64))
        rows = self.table.iloc[chosen]
        whole = {name: int(rows[name].sum()) for name in ("seals", "beyond", "asked")}
        told = (rows["asked"] > 0).to_numpy()
        expected, least, most = (
            rows.loc[told, f"expected_failures{end}"].to_numpy(dtype=np.float64)
            for end in ("", "_low", "_high")
        )
        if not told.any():
            figures = np.full(5, np.nan)
        else:
            total = expected.sum()
            down, up = (np.sqrt(((expected - side) ** 2).sum()) for side in (least, most))
            predicted = self.counts.sum_limits(chosen[told], self.level)
            figures = np.array([total, total - down, total + up, *predicted])
        share = 1 - figures[[0, 2, 1]] / max(whole["asked"], 1)
        return pd.Series(
            {
                **whole,
                **dict(zip(_named("share_running"), share.tolist(), strict=True)),
                **dict(zip(_named("expected_failures"), figures[:3].tolist(), strict=True)),
                **dict(zip(_named("predicted_failures")[1:], figures[3:].tolist(), strict=True)),
            }
        )


def _named(stem: str) -> list[str]:
    return [f"{stem}{end}" for end in ("", "_low", "_high")]
