"""Who was watched when, and what happened to whom.

In: events and stretches of observation as plain arrays. Out: `Watch`. Next:
`seallife.history.recurrence`, `seallife.history.growth`.

A unit (a seal position, a machine) is watched over one stretch or several, each open at its start
and closed at its end: an event at the start of a stretch belongs to the time before. Units are
gathered by group, stretches and events by unit, so that a group is one run of each flat array.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.history.arrays import count_up_to, labels, match, numbers, refuse
from seallife.life.groups import Floats, Ints, running_sum, segment_max, segment_min, segment_sum

__all__ = ["FleetExposure", "Watch", "fleet_exposure", "read_watch"]


@dataclass(frozen=True, eq=False)
class Watch:
    """Checked stretches and events, gathered by group and unit.

    Attributes
    ----------
    group : ndarray, shape (g,)
        Labels of the groups, sorted.
    unit : ndarray, shape (u,)
        Label of each unit in a group; a unit that changes group stands in each of them.
    units, stretches, events : ndarray of int
        Offsets: units of group i are ``units[i]:units[i + 1]``, stretches and events of unit j
        ``stretches[j]:stretches[j + 1]`` and ``events[j]:events[j + 1]``.
    start, end, worth : ndarray, shape (m,)
        Stretches in order of time, and exposure per unit of time in each (1, or run hours a day).
    time, held_by : ndarray, shape (n,)
        Events in order of time, and the stretch that holds each.
    """

    group: NDArray[Any]
    unit: NDArray[Any]
    units: Ints
    stretches: Ints
    events: Ints
    start: Floats
    end: Floats
    worth: Floats
    time: Floats
    held_by: Ints

    def __len__(self) -> int:
        return len(self.group)

    @property
    def group_of_unit(self) -> Ints:
        """Group number of each unit, shape (u,)."""
        return np.repeat(np.arange(len(self)), np.diff(self.units))

    @property
    def unit_of_stretch(self) -> Ints:
        """Unit number of each stretch, shape (m,)."""
        return np.repeat(np.arange(len(self.unit)), np.diff(self.stretches))

    @property
    def unit_of_event(self) -> Ints:
        """Unit number of each event, shape (n,)."""
        return np.repeat(np.arange(len(self.unit)), np.diff(self.events))

    @property
    def group_stretches(self) -> Ints:
        """Offsets of the stretches of each group, shape (g + 1,)."""
        return self.stretches[self.units]

    @property
    def group_events(self) -> Ints:
        """Offsets of the events of each group, shape (g + 1,)."""
        return self.events[self.units]

    def exposure(self) -> Floats:
        """Exposure of each group, shape (g,)."""
        return segment_sum((self.end - self.start) * self.worth, self.group_stretches)


def read_watch(
    times: ArrayLike,
    unit: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    stretch_unit: ArrayLike,
    *,
    group: ArrayLike | None = None,
    worth: ArrayLike | None = None,
) -> Watch:
    """Check events and stretches and gather them.

    Parameters
    ----------
    times : array_like, shape (n,)
        When each event happened: age of the unit, or calendar days since a date.
    unit : array_like, shape (n,)
        To which unit.
    start, end : array_like, shape (m,)
        Stretches over which units were watched; an event at t belongs to one where
        start < t <= end.
    stretch_unit : array_like, shape (m,)
        Unit of each stretch.
    group : array_like, shape (m,), optional
        Group of the unit in that stretch.
    worth : array_like, shape (m,), optional
        Exposure per unit of time, 1 if not given; may be 0 (watched, but at no risk).

    Returns
    -------
    Watch

    Raises
    ------
    InputError
        Naming the argument, the first bad row, its value and the next step: values that are not
        finite, a stretch without length, stretches of one unit that overlap, an event of a unit
        that was not watched then.
    """
    begin = numbers(start, "start")
    m = len(begin)
    stop = numbers(end, "end", m, "start")
    refuse(stop <= begin, stop, "end", "is not after start", "leave out stretches without length")
    rate = np.ones(m) if worth is None else numbers(worth, "worth", m, "start")
    refuse(rate < 0, rate, "worth", "is below 0", "give exposure per unit of time")
    when = numbers(times, "times")
    n = len(when)
    names, whose = labels(stretch_unit, m, "stretch_unit", "start")
    owner = match(names, unit, n, "unit", "times")
    if group is None:
        kinds, kind = np.array(["all"], dtype=object), np.zeros(m, np.int64)
    else:
        kinds, kind = labels(group, m, "group", "start")
    by_unit = np.lexsort((begin, whose))
    a, b = by_unit[:-1], by_unit[1:]
    clash = (whose[a] == whose[b]) & (begin[b] < stop[a])
    if clash.any():
        j = int(np.argmax(clash))
        i, name = int(b[j]), names.tolist()[whose[b[j]]]
        raise InputError(
            f"{begin[i]:g} is before the end {stop[a[j]]:g} of another stretch of unit {name!r}",
            where=f"start[{i}]",
            hint="join stretches that overlap",
        )
    # an event at the very start of a stretch belongs to the time before: starts below it count
    bounds = np.searchsorted(whose[by_unit], np.arange(len(names) + 1))
    below = count_up_to(begin[by_unit], bounds, np.nextafter(when, -np.inf), owner)
    held = np.full(n, -1)
    held[below > 0] = by_unit[(bounds[owner] + below - 1)[below > 0]]
    lost = held < 0
    lost[~lost] = when[~lost] > stop[held[~lost]]
    if lost.any():
        i = int(np.argmax(lost))
        more = int(lost.sum()) - 1
        also = f" (and {more:,} more like it)" if more else ""
        raise InputError(
            f"{when[i]:g} of unit {names.tolist()[owner[i]]!r} lies in none of its stretches{also}",
            where=f"times[{i}]",
            hint="an event counts where start < time <= end; leave others out",
        )
    return _gathered(kinds, names, kind, whose, (begin, stop, rate), when, held)


def _gathered(
    kinds: NDArray[Any],
    names: NDArray[Any],
    kind: Ints,
    whose: Ints,
    columns: tuple[Floats, Floats, Floats],
    when: Floats,
    held: Ints,
) -> Watch:
    """All rows in order of group, unit and time."""
    pair = kind * max(len(names), 1) + whose
    known, code = np.unique(pair, return_inverse=True)
    order = np.lexsort((columns[0], code))
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    begin, stop, rate = (column[order] for column in columns)
    of_event = code[held]
    by_time = np.lexsort((when, of_event))
    groups = known // max(len(names), 1)

    def offsets(codes: Ints, count: int) -> Ints:
        return np.concatenate([[0], np.cumsum(np.bincount(codes, minlength=count))]).astype(
            np.int64
        )

    return Watch(
        kinds,
        names[known % max(len(names), 1)],
        offsets(groups, len(kinds)),
        offsets(code, len(known)),
        offsets(of_event, len(known)),
        begin,
        stop,
        rate,
        when[by_time],
        place[held][by_time],
    )


@dataclass(frozen=True, eq=False)
class FleetExposure:
    """Exposure that each group has gathered up to a time, as broken lines on one flat array.

    Attributes
    ----------
    offsets : ndarray of int, shape (g + 1,)
        Nodes of group i are ``offsets[i]:offsets[i + 1]``.
    time, exposure, at_risk : ndarray, shape (k,)
        Nodes: exposure up to each, and units watched from it to the next.
    """

    offsets: Ints
    time: Floats
    exposure: Floats
    at_risk: Floats

    def total(self) -> Floats:
        """Exposure of each group, shape (g,)."""
        return np.maximum(segment_max(self.exposure, self.offsets), 0.0)

    def at(self, time: Floats, group: Ints) -> Floats:
        """Exposure gathered by each group number up to each time, shape (n,)."""
        return self._read(time, group, self.time, self.exposure)

    def when(self, exposure: Floats, group: Ints) -> Floats:
        """Time by which each group number had gathered an exposure, shape (n,).

        Where nobody was at risk for a while, the end of that while.
        """
        return self._read(exposure, group, self.exposure, self.time)

    def _read(self, value: Floats, group: Ints, known: Floats, wanted: Floats) -> Floats:
        """Interpolation inside each group; constant beyond its ends."""
        low, high = (f(known, self.offsets)[group] for f in (segment_min, segment_max))
        inside = np.clip(value, low, high)
        left = self.offsets[group] + count_up_to(known, self.offsets, inside, group) - 1
        right = np.minimum(left + 1, self.offsets[group + 1] - 1)
        gap = known[right] - known[left]
        share = np.where(gap > 0, (inside - known[left]) / np.where(gap > 0, gap, 1.0), 0.0)
        return np.asarray(wanted[left] + share * (wanted[right] - wanted[left]))


def fleet_exposure(watch: Watch) -> FleetExposure:
    """How much exposure had each group gathered by each time?"""
    m = len(watch.start)
    of = watch.group_of_unit[watch.unit_of_stretch]
    group = np.concatenate([of, of])
    time = np.concatenate([watch.start, watch.end])
    change = np.concatenate([np.ones(m), -np.ones(m)])
    rate = change * np.concatenate([watch.worth, watch.worth])
    order = np.lexsort((time, group))
    group, time, change, rate = group[order], time[order], change[order], rate[order]
    new = np.ones(len(time), bool)
    new[1:] = (time[1:] != time[:-1]) | (group[1:] != group[:-1])
    first = np.flatnonzero(new)
    if not len(first):
        empty = np.zeros(0)
        return FleetExposure(np.zeros(len(watch) + 1, np.int64), empty, empty, empty)
    group, time = group[first], time[first]
    offsets = np.searchsorted(group, np.arange(len(watch) + 1))
    at_risk = np.rint(running_sum(np.add.reduceat(change, first), offsets))
    # rounding must not leave exposure where nobody is
    speed = np.where(at_risk > 0, running_sum(np.add.reduceat(rate, first), offsets), 0.0)
    step = np.zeros(len(time))
    step[1:] = np.diff(time) * speed[:-1]
    step[offsets[:-1][np.diff(offsets) > 0]] = 0.0
    return FleetExposure(offsets, time, running_sum(step, offsets), at_risk)
