"""Events of one system or several, each counted on exposure from its own begin.

In: event times and ends as plain arrays. Out: `Systems`. Next: `seallife.history.trendtests`,
`seallife.history.powerlaw`, `seallife.history.changepoint`.

A system is a machine on its own run hours, or a whole fleet on the exposure it has gathered: time
0 is where watching began. Systems are gathered by group, events by system.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seallife.errors import InputError
from seallife.history.arrays import labels, match, numbers, refuse
from seallife.life.groups import Floats, Ints, segment_max, segment_sum

__all__ = ["Systems", "Truncation", "read_systems"]

Truncation = Literal["time", "failure"]


@dataclass(frozen=True, eq=False)
class Systems:
    """Checked systems and events.

    Attributes
    ----------
    group : ndarray, shape (g,)
        Labels of the groups, sorted.
    unit : ndarray, shape (u,)
        Label of each system.
    units, events : ndarray of int
        Offsets: systems of group i are ``units[i]:units[i + 1]``, events of system j
        ``events[j]:events[j + 1]``.
    end : ndarray, shape (u,)
        Exposure at which watching of each system ended.
    time : ndarray, shape (n,)
        Exposure at each event, rising inside each system.
    truncated_by : {'time', 'failure'}
        Whether watching ended by itself, or with the last event of each system.
    """

    group: NDArray[Any]
    unit: NDArray[Any]
    units: Ints
    events: Ints
    end: Floats
    time: Floats
    truncated_by: Truncation

    def __len__(self) -> int:
        return len(self.group)

    @property
    def counts(self) -> Ints:
        """Events of each system, shape (u,)."""
        return np.diff(self.events)

    @property
    def unit_of_event(self) -> Ints:
        """System number of each event, shape (n,)."""
        return np.repeat(np.arange(len(self.unit)), self.counts)

    @property
    def free(self) -> NDArray[np.bool_]:
        """Events whose time is not the end itself, shape (n,): all but the last, if by failure."""
        out = np.ones(len(self.time), bool)
        if self.truncated_by == "failure":
            out[self.events[1:][self.counts > 0] - 1] = False
        return out

    @property
    def group_events(self) -> Ints:
        """Offsets of the events of each group, shape (g + 1,)."""
        return self.events[self.units]

    def by_group(self, values: NDArray[Any]) -> Floats:
        """Sum of one value an event over each group, shape (g,)."""
        return segment_sum(values, self.group_events)

    def by_system(self, values: NDArray[Any]) -> Floats:
        """Sum of one value a system over each group, shape (g,)."""
        return segment_sum(values, self.units)

    def relative(self) -> Floats:
        """Share of its system's exposure at which each event came, shape (n,)."""
        return self.time / self.end[self.unit_of_event]


def read_systems(
    times: ArrayLike,
    end: ArrayLike | None,
    *,
    unit: ArrayLike | None = None,
    end_unit: ArrayLike | None = None,
    group: ArrayLike | None = None,
    truncated_by: Truncation = "time",
) -> Systems:
    """Check events and ends and gather them.

    Parameters
    ----------
    times : array_like, shape (n,)
        Exposure at each event; above 0, at most its system's end.
    end : float or array_like, shape (k,), or None
        Exposure at which watching ended: one for all systems, or one for each. None where
        ``truncated_by`` is 'failure': the last event of each.
    unit : array_like, shape (n,), optional
        System of each event; one system if not given.
    end_unit : array_like, shape (k,)
        System of each end, where ``end`` has several.
    group : array_like, shape (k,), optional
        Group of each system, where ``end`` has several.
    truncated_by : {'time', 'failure'}

    Returns
    -------
    Systems

    Raises
    ------
    InputError
        Naming the argument, the first bad row, its value and the next step.
    """
    if truncated_by not in ("time", "failure"):
        raise InputError(
            f"is {truncated_by!r}", where="truncated_by", hint="use 'time' or 'failure'"
        )
    when = numbers(times, "times")
    refuse(when <= 0, when, "times", "is not above 0", "count exposure from where watching began")
    n = len(when)
    whose = np.zeros(n, np.int64)
    names: NDArray[Any] = np.array(["all"], dtype=object)
    if unit is not None:
        names, whose = labels(unit, n, "unit", "times")
    if end is None:
        if truncated_by == "time":
            hint = "give the exposure at which watching ended"
            raise InputError("is missing", where="end", hint=hint)
        ends = np.full(len(names), -np.inf)
        np.maximum.at(ends, whose, when)
        if not n:
            raise InputError("is empty", where="times", hint="give one event or more")
    elif np.ndim(end) == 0:
        ends = np.repeat(_ends(np.atleast_1d(np.asarray(end))), len(names))
    else:
        ends = _ends(end)
        names, whose, order = _own_ends(ends, names, whose, unit, end_unit)
        ends = ends[order]
        if group is not None:
            kinds, kind = labels(group, len(ends), "group", "end")
            return _gathered(kinds, names, kind[order], ends, when, whose, truncated_by)
    if group is not None:
        hint = "give one end for each system, with end_unit, and its group"
        raise InputError("needs an end for each system", where="group", hint=hint)
    alone = np.array(["all"], dtype=object)
    return _gathered(alone, names, np.zeros(len(names), np.int64), ends, when, whose, truncated_by)


def _ends(end: ArrayLike) -> Floats:
    ends = numbers(end, "end")
    refuse(ends <= 0, ends, "end", "is not above 0", "leave out systems that were not watched")
    return ends


def _own_ends(
    ends: Floats, names: NDArray[Any], whose: Ints, unit: ArrayLike | None, end_unit: Any
) -> tuple[NDArray[Any], Ints, Ints]:
    """Systems as ``end_unit`` names them, the system of each event, the order of the ends."""
    if end_unit is None:
        if len(ends) == 1 and len(names) == 1:
            return names, whose, np.zeros(1, np.int64)
        hint = "name the system of each end"
        raise InputError(f"is missing beside {len(ends)} ends", where="end_unit", hint=hint)
    known, code = labels(end_unit, len(ends), "end_unit", "end")
    if len(known) < len(ends):
        twice = known[np.bincount(code) > 1].tolist()[0]
        raise InputError(f"names {twice!r} twice", where="end_unit", hint="one end for a system")
    if unit is None and len(known) > 1:
        raise InputError("is missing", where="unit", hint="name the system of each event")
    owner = whose if unit is None else match(known, names[whose], len(whose), "unit", "times")
    return known, owner, np.argsort(code)


def _gathered(
    kinds: NDArray[Any],
    names: NDArray[Any],
    kind: Ints,
    ends: Floats,
    when: Floats,
    whose: Ints,
    truncated_by: Truncation,
) -> Systems:
    """All rows in order of group, system and time."""
    late = when > ends[whose]
    refuse(late, when, "times", "is after its system's end", "leave it out or mend the end")
    order = np.argsort(kind, kind="stable")
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    by_time = np.lexsort((when, place[whose]))
    counts = np.bincount(place[whose], minlength=len(names))
    systems = Systems(
        kinds,
        names[order],
        np.searchsorted(kind[order], np.arange(len(kinds) + 1)).astype(np.int64),
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        ends[order],
        when[by_time],
        truncated_by,
    )
    if truncated_by == "failure":
        last = segment_max(systems.time, systems.events)
        wrong = np.flatnonzero(last != systems.end)
        if len(wrong):
            j = int(wrong[0])
            raise InputError(
                f"is {systems.end[j]:g} for {names[order].tolist()[j]!r}, not the time of its last "
                "event",
                where="end",
                hint="watching by failure ends with the last event; else use truncated_by='time'",
            )
    return systems
