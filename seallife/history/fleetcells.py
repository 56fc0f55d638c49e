"""Failures, time at risk and reference of each label in each class of a fleet.

In: the life table. Out: `FleetCells`. Next: `seallife.history.standoutlives`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from seallife.history.atages import by_age
from seallife.history.positioncounts import PositionCounts, position_counts
from seallife.history.reference import Cells, Codes, Compared, Reference, by_size, summed
from seallife.history.weighing import settle
from seallife.life.groups import Floats
from seallife.life.usable import UsableLives

__all__ = ["Basis", "FleetCells"]

Basis = Literal["counts", "ages", "exposure"]


@dataclass(frozen=True, eq=False)
class FleetCells:
    """Lives with their cells (a label in a class) and places (a position in a class).

    Attributes
    ----------
    use : UsableLives
    time, failed : ndarray, shape (n,)
        Time at risk and failures of each life.
    place, cell : ndarray of int, shape (n,)
    cell_unit, cell_group : ndarray of int, shape (m,)
        Label and class of each cell; the label after the last is of lives that have none.
    labels, groups : list
        Names of labels and classes.
    counts : PositionCounts
    whole_positions : bool
        Whether each position keeps one label.
    """

    use: UsableLives
    time: Floats
    failed: Floats
    place: Codes
    cell: Codes
    cell_unit: Codes
    cell_group: Codes
    labels: list[object]
    groups: list[object]
    counts: PositionCounts
    whole_positions: bool

    @classmethod
    def of(cls, lives: pd.DataFrame, use: UsableLives, label: pd.Series) -> FleetCells:
        """Number labels, classes and positions."""
        group, groups = pd.factorize(use.label.astype(str), sort=True)
        unit, labels = pd.factorize(label, sort=True)
        # lives without a label make one more unit, which is only part of the rest of its class
        unit = np.where(unit < 0, len(labels), unit)
        position = pd.factorize(lives["position_id"])[0]
        m = len(groups)
        places, place = np.unique(position * m + group, return_inverse=True)
        cells, cell = np.unique(unit * m + group, return_inverse=True)
        counts = position_counts(lives, use, place, places % m, m)
        time = lives["hours" if use.unit == "h" else "days"].to_numpy(dtype=np.float64)
        one = pd.Series(unit).groupby(place).nunique().to_numpy()
        return cls(
            use,
            np.nan_to_num(time),
            np.where(lives["end"] == "failed", 1.0, 0.0),
            place,
            cell,
            cells // m,
            cells % m,
            labels.tolist(),
            groups.tolist(),
            counts,
            bool((one == 1).all()),
        )

    def per_cell(self, values: Floats) -> Floats:
        """Sum over the lives of each cell."""
        return summed(self.cell, np.nan_to_num(values), len(self.cell_unit))

    def against(self, basis: Basis) -> tuple[Cells, Reference]:
        """Cells of the basis, and what they are held against."""
        time = self.time
        if basis == "exposure":
            ones = np.ones(len(self.cell_unit))
            cells = self._cells(self.per_cell(self.failed), self.per_cell(time), ones)
            return cells, by_size(cells)
        size, scatter, doubled = self._by_position()
        if basis == "counts":
            cells = self._cells(self.per_cell(self.failed), size, scatter)
            return cells, by_size(cells)
        known = ~self.use.out
        failures, size = (self.per_cell(np.where(known, v, 0.0)) for v in (self.failed, time))
        cells = self._cells(failures, size, 1.0 + doubled)
        use = self.use
        return cells, by_age(
            cells, self.cell[known], use.middle[known], use.failed[known], use.entry[known]
        )

    def _by_position(self) -> tuple[Floats, Floats, Floats]:
        """Size and dispersion of each cell by the law of its class, and what positions add to it.

        First the positions themselves are held against their classes: their ratios show how
        regularly seals fail in like positions, and how much positions differ.
        """
        group = self.counts.group
        places = len(group)
        failures = summed(self.place, self.failed, places)
        each = Cells(
            np.arange(places), group, failures, failures, failures, places, len(self.groups)
        )

        def reference(ratio: Floats) -> Compared:
            size, variance = self.counts.sizes(ratio)
            scatter = np.where(size > 0, variance / np.where(size > 0, size, 1.0), 1.0)
            return by_size(replace(each, size=size, dispersion=scatter))(ratio)

        _, found = settle(reference, np.zeros(places, dtype=np.int64), ["all"])
        size, variance = self.counts.sizes(found.mean)
        m = len(self.cell_unit)
        # what each label had of each position: all of it, where positions keep their label
        spent = summed(self.place, self.time, places)[self.place]
        share = np.where(spent > 0, self.time / np.where(spent > 0, spent, 1.0), 0.0)
        pairs, pair = np.unique(self.cell * places + self.place, return_inverse=True)
        cell, place = pairs // max(places, 1), pairs % max(places, 1)
        part = summed(pair, share, len(pairs))
        size, variance = size[place] * part, variance[place] * part
        whole, scatter, square = (summed(cell, v, m) for v in (size, variance, size**2))
        safe = np.where(whole > 0, whole, 1.0)
        several = np.bincount(cell, minlength=1).max() > 1
        doubled = found.variance * square / safe if several else np.zeros(m)
        return whole, np.where(whole > 0, scatter / safe, 1.0) + doubled, doubled

    def _cells(self, failures: Floats, size: Floats, dispersion: Floats) -> Cells:
        units = int(self.cell_unit.max(initial=-1)) + 1
        return Cells(
            self.cell_unit, self.cell_group, failures, size, dispersion, units, len(self.groups)
        )
