"""Mean cumulative number, step by step, with the spread of each unit's part in it.

In: `Watch`. Out: `Steps`. Next: `seallife.history.recurrence`.

With n units watched and d repairs at a step the curve rises by d / n. Unit i has a part in it,

    U_i(t) = sum over its repairs of 1 / n  -  sum over steps while it was watched of d / n^2,

and the variance of the curve is the sum of U_i(t)^2 (Lawless & Nadeau 1995). From one step to the
next all units watched lose d / n^2 and only those repaired gain; so the sum of squares is carried
along, with the sum of the parts of those watched, which changes only where somebody enters or
leaves. The cost is a few sorts, not steps times units.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seallife.history.arrays import count_up_to
from seallife.history.watch import Watch
from seallife.life.groups import Floats, Ints, running_sum

__all__ = ["Steps", "steps_of"]


@dataclass(frozen=True, eq=False)
class Steps:
    """Times with events of all groups, on flat arrays.

    Attributes
    ----------
    watch : Watch
    offsets : ndarray of int, shape (g + 1,)
        Steps of group i are ``offsets[i]:offsets[i + 1]``.
    time, at_risk, events : ndarray, shape (k,)
        Time of each step, units watched then, and events.
    step_of_event : ndarray of int, shape (n,)
    enters, leaves : ndarray of int, shape (m,)
        Place of each stretch's ends among sums that have one more entry a group than steps.
    """

    watch: Watch
    offsets: Ints
    time: Floats
    at_risk: Floats
    events: Floats
    step_of_event: Ints
    enters: Ints
    leaves: Ints

    def mean(self, weight: Floats | float = 1.0) -> Floats:
        """Sum of ``weight`` times the rises of the curve, shape (k,)."""
        return running_sum(weight * self.events / self.at_risk, self.offsets)

    def poisson_variance(self, weight: Floats | float = 1.0) -> Floats:
        """Variance of `mean` were all units alike and events at random, shape (k,)."""
        return running_sum(weight**2 * self.events / self.at_risk**2, self.offsets)

    def variance(self, weight: Floats | float = 1.0) -> Floats:
        """Variance of `mean` whatever the units and their events, shape (k,)."""
        watch = self.watch
        fall = weight * self.events / self.at_risk**2
        lost = self._sums(fall)
        entered, left = lost[self.enters], lost[self.leaves]
        gain = np.broadcast_to(weight / self.at_risk, fall.shape)[self.step_of_event]
        # what each unit has when a stretch of it ends, when it begins, and just before each event
        own = _sum_at(watch.held_by, gain, len(watch.start))
        at_exit = running_sum(own + entered - left, watch.stretches)
        at_enter = at_exit - (own + entered - left)
        held = watch.held_by
        earlier = running_sum(gain, watch.events) - gain
        in_stretch = earlier - (running_sum(own, watch.stretches) - own)[held]
        fallen = lost[self.step_of_event + watch.group_of_unit[watch.unit_of_event]]
        part = at_enter[held] + in_stretch + entered[held] - fallen
        change = -2 * fall * self._of_watched(at_enter, at_exit)
        change = change - weight**2 * self.events**2 / self.at_risk**3
        np.add.at(change, self.step_of_event, 2 * part * gain + gain**2)
        total = running_sum(change, self.offsets)
        # where all units are alike the parts cancel to nought but for rounding
        return np.where(total > 1e-13 * self.mean(weight) ** 2, total, 0.0)

    def units_alike(self, weight: Floats | float = 1.0) -> Floats:
        """How many units, all watched alike, are these worth, shape (k,)?

        (sum of w)^2 / sum of w^2, with w the sum of d / n^2 while a unit was watched.
        """
        fall = weight * self.events / self.at_risk**2
        lost = self._sums(fall)
        entered, left = lost[self.enters], lost[self.leaves]
        at_exit = running_sum(left - entered, self.watch.stretches)
        # w of a unit watched is what it had on entering and what came since
        watched = self._of_watched(at_exit - left, at_exit - left)
        watched = watched + self.at_risk * (running_sum(fall, self.offsets) - fall)
        square = running_sum(2 * fall * watched + fall**2 * self.at_risk, self.offsets)
        known = square > 0
        return np.where(known, self.mean(weight) ** 2 / np.where(known, square, 1.0), 0.0)

    def limit_variance(self, units: Floats, weight: Floats | float = 1.0) -> Floats:
        """Variance on which limits rest, shape (k,).

        ``units / (units - 1)`` makes that of equal units unbiased. Where few units happen to be
        all alike it would be 0; it is therefore kept above a mean with that of events at random,
        which counts as half a unit. Of one unit alone the variance is not known.
        """
        enough = units > 1 + 1e-9
        robust = self.variance(weight) * units / np.where(enough, units - 1, 1.0)
        drawn = (units * robust + 0.5 * self.poisson_variance(weight)) / (units + 0.5)
        return np.where(enough, np.maximum(robust, drawn), np.nan)

    def _sums(self, values: Floats) -> Floats:
        """Sums before each step and after the last, so one entry a group more than steps."""
        sizes = np.diff(self.offsets)
        out = np.zeros(len(values) + len(sizes))
        out[np.arange(len(values)) + np.repeat(np.arange(len(sizes)), sizes) + 1] = values
        return running_sum(out, self.offsets + np.arange(len(self.offsets)))

    def _of_watched(self, at_enter: Floats, at_exit: Floats) -> Floats:
        """Sum over the units watched at each step of what they had on entering, less who left."""
        sizes = np.diff(self.offsets)
        places = len(self.time) + len(sizes)
        change = _sum_at(self.enters, at_enter, places) - _sum_at(self.leaves, at_exit, places)
        sums = running_sum(change, self.offsets + np.arange(len(self.offsets)))
        return sums[np.arange(len(self.time)) + np.repeat(np.arange(len(sizes)), sizes)]


def steps_of(watch: Watch) -> Steps:
    """At which times did events come, and how many units were watched then?"""
    groups = len(watch)
    group = watch.group_of_unit[watch.unit_of_event]
    order = np.lexsort((watch.time, group))
    time, of = watch.time[order], group[order]
    new = np.ones(len(time), bool)
    new[1:] = (time[1:] != time[:-1]) | (of[1:] != of[:-1])
    first = np.flatnonzero(new)
    offsets = np.searchsorted(of[first], np.arange(groups + 1)).astype(np.int64)
    step = np.empty(len(time), np.int64)
    step[order] = np.cumsum(new) - 1
    steps = time[first]
    events = np.diff(np.append(first, len(time))).astype(np.float64)
    at = watch.group_of_unit[watch.unit_of_stretch]
    place = offsets[at] + at
    enters = place + count_up_to(steps, offsets, watch.start, at)
    leaves = place + count_up_to(steps, offsets, watch.end, at)
    bare = Steps(watch, offsets, steps, np.ones(len(steps)), events, step, enters, leaves)
    watched = bare._of_watched(np.ones(len(at)), np.ones(len(at)))
    return Steps(watch, offsets, steps, np.rint(watched), events, step, enters, leaves)


def _sum_at(place: Ints, values: Floats, size: int) -> Floats:
    """Sum of the values that go to each place."""
    return np.bincount(place, values, minlength=size).astype(np.float64)
