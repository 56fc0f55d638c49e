"""Could these lives have come from the law fitted to them?

In: a law with its parameters. Out: how far it is from the lives, and like lives drawn from it.
Next: `seallife.life.choose`.

Failures counted by age are held against those that the law expects of the lives at risk; the
greatest gap, over the root of all failures, is the misfit. Its size under the law itself comes from
lives drawn from it, with the same late entries and the same kind of withdrawals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seallife.life.groups import Floats, Groups, Ints, order_within, running_sum, segment_max
from seallife.life.lawages import log_ages_of_groups
from seallife.life.lawfits import LawFit, fit_one_law
from seallife.life.laws import Law
from seallife.life.lawslopes import SLOPES
from seallife.life.lifedata import LifeData
from seallife.life.risksets import risk_sets

__all__ = ["draw_lives", "fit_tests", "misfit"]

_CATCH = 40.0  # above the log of any random number drawn


def fit_tests(
    laws: Sequence[Law],
    fits: Sequence[LawFit],
    data: LifeData,
    resamples: int,
    seed: int,
    refuse: float,
) -> Floats:
    """Share of like lives from each law that are as far from it as the lives seen.

    Lives are drawn one set after the other, and no more of them once so many lay as far that the
    share cannot end at or below ``refuse``. A share at or below it is that of all sets.

    Parameters
    ----------
    laws : sequence of Law
    fits : sequence of LawFit
        Of the same lives.
    data : LifeData
    resamples : int
        Most sets of lives.
    seed : int
    refuse : float

    Returns
    -------
    ndarray, shape (laws, g)
        NaN where a law was not fitted.

    Source
    ------
    Besag & Clifford (1991), Biometrika 78, 301-304.
    """
    out = np.full((len(laws), len(data.groups)), np.nan)
    if not resamples:
        return out
    plan, enough = Plan.of(data, resamples, seed), int(refuse * resamples + 1e-9) + 1
    for p, law, fit in zip(out, laws, fits, strict=True):
        tried = np.isfinite(fit.loglik)
        if tried.any():
            p[tried] = _fit_test(law, fit.where[tried], plan.part(tried), enough)
    return out


def _fit_test(law: Law, at: Floats, plan: Plan, enough: int) -> Floats:
    """Share for the groups of a plan, shape (g,)."""
    # rounding must not tell a draw from itself
    seen = misfit(law, at, plan.data) * (1 - 1e-9)
    share, left, done = np.empty(len(at)), np.arange(len(at)), 0
    known = as_far = np.zeros((1, len(at)))
    while len(left) and done < plan.copies:
        # one, then as many again as so far
        some = slice(done, max(2 * done, 1))
        far = _drawn_misfits(law, at[left], plan.part(np.isin(np.arange(len(at)), left), some))
        done += len(far)
        known = known[-1] + np.cumsum(np.isfinite(far), axis=0)
        as_far = as_far[-1] + np.cumsum(far >= seen[left], axis=0)
        share[left] = (1 + as_far[-1]) / (1 + known[-1])
        end = (as_far >= enough).argmax(axis=0)
        ended = as_far[-1] >= enough
        share[left[ended]] = enough / known[end[ended], np.flatnonzero(ended)]
        left, known, as_far = left[~ended], known[:, ~ended], as_far[:, ~ended]
    return share


def _drawn_misfits(law: Law, at: Floats, plan: Plan) -> Floats:
    """Misfit of the law to each set of lives drawn from it, shape (copies, g)."""
    drawn = plan.drawn(law, at)
    near = np.tile(at, (plan.copies, 1))
    again = fit_one_law(law, drawn, near if law.name in SLOPES else None)
    return misfit(law, again.where, drawn).reshape(plan.copies, -1)


def misfit(law: Law, at: Floats, data: LifeData) -> Floats:
    """Greatest gap between failures seen and expected, over the root of their number, shape (g,).

    Parameters
    ----------
    law : Law
    at : ndarray, shape (g, p)
        Parameters of each group.
    data : LifeData

    Source
    ------
    Andersen, Borgan, Gill & Keiding (1993), Statistical Models Based on Counting Processes,
    section VI.3.
    """
    groups = data.groups
    late = np.zeros(0, np.int64) if data.entry is None else np.flatnonzero(data.entry > 0)
    entry = np.zeros(0) if data.entry is None else data.entry[late]
    columns = [groups.spread(c) for c in at.T]
    with np.errstate(invalid="ignore", over="ignore"):
        lived = -law.log_survival(columns, np.log(data.age))
        waited = -law.log_survival([c[late] for c in columns], np.log(entry))
    # a group without a fit is NaN, but must not make the running sums of the next ones so
    lost = np.asarray(np.isnan(at).any(axis=1))
    lived[groups.spread(lost)], waited[groups.spread(lost)[late]] = 0.0, 0.0
    # ends and late entries of each group in one line of rising ages
    entered = np.searchsorted(late, groups.offsets)
    offsets = groups.offsets + entered
    ends_at = np.arange(len(lived)) + np.repeat(entered[:-1], groups.sizes)
    enters_at = np.arange(len(late)) + np.repeat(groups.offsets[1:], np.diff(entered))

    def merged(at_end: Floats | float, at_entry: Floats | float) -> Floats:
        out = np.empty(len(lived) + len(late))
        out[ends_at], out[enters_at] = at_end, at_entry
        return out

    order = order_within(merged(data.age, entry), offsets)
    hazard, died = merged(lived, waited)[order], merged(data.failed.astype(np.float64), 0.0)[order]
    sign = merged(1.0, -1.0)[order]
    from_new = data.count() - (0.0 if data.entry is None else data.count(data.entry > 0))
    if data.weight is not None:
        weight = merged(data.weight, data.weight[late])[order]
        died, sign = died * weight, sign * weight
    # by now a life has met the hazard up to its end or now, less that up to its entry or now
    gone = running_sum(sign * hazard, offsets)
    going = np.repeat(from_new, np.diff(offsets)) - running_sum(sign, offsets)
    expected = gone + hazard * going
    seen = running_sum(died, offsets)
    gap = np.abs(seen - expected)
    np.maximum(gap, np.abs(seen - died - expected), out=gap)
    with np.errstate(invalid="ignore", divide="ignore"):
        top = segment_max(np.where(died > 0, gap, -np.inf), offsets)
        return np.where(lost, np.nan, top / np.sqrt(data.count(data.failed)))


def draw_lives(law: Law, at: Floats, data: LifeData, copies: int, seed: int) -> LifeData:
    """Like lives from the law, ``copies`` of each group, as groups of their own, copy by copy.

    A withdrawn life keeps the age at which it would be withdrawn. That of a failed life is drawn
    from the ages at which others of its group were, beyond its own (product-limit). Every group
    uses the same random numbers, row by row in the order of its ages: neither the order of rows nor
    the names of groups matter.
    """
    return Plan.of(data, copies, seed).drawn(law, at)


@dataclass(frozen=True, eq=False)
class Plan:
    """What drawings of lives have in common whatever the law.

    Attributes
    ----------
    data : LifeData
    end : ndarray, shape (copies, n)
        Age to which each life is watched; infinite for ever.
    goal : ndarray, shape (copies, n)
        Log of the share of those entering that outlives it.
    """

    data: LifeData
    end: Floats
    goal: Floats

    @property
    def copies(self) -> int:
        """Times that the lives are drawn."""
        return len(self.end)

    @classmethod
    def of(cls, data: LifeData, copies: int, seed: int) -> Plan:
        """Draw the random numbers."""
        rng = np.random.default_rng(seed)
        groups, n = data.groups, len(data.age)
        entry = np.zeros(n) if data.entry is None else data.entry
        order = np.lexsort((entry, data.failed, data.age, groups.codes))
        position = np.empty(n, dtype=np.int64)
        position[order] = np.arange(n) - np.repeat(groups.offsets[:-1], groups.sizes)
        widest = int(groups.sizes.max(initial=0))
        # never quite 0 or 1: a life neither fails when fitted nor lasts for ever
        # and drawn life by life, so that a larger group elsewhere changes nothing
        numbers = np.clip(rng.random((widest, 2, copies)), 1e-16, 1 - 1e-16)[position]
        u, v = numbers.transpose(1, 2, 0)
        end = np.where(data.failed, _withdrawal(data, v), data.age)
        return cls(data, end, np.log(u))

    def part(self, keep: NDArray[np.bool_], copies: slice = slice(None)) -> Plan:
        """Only the chosen groups and copies."""
        rows = np.flatnonzero(self.data.groups.spread(keep))
        return Plan(self.data.take(keep), self.end[copies, rows], self.goal[copies, rows])

    def drawn(self, law: Law, at: Floats) -> LifeData:
        """The lives under a law, groups copy by copy."""
        data, copies, end, goal = self.data, self.copies, self.end.ravel(), self.goal.flatten()
        groups = data.groups
        columns = [np.tile(groups.spread(c), copies) for c in at.T]
        entries = np.zeros(len(end)) if data.entry is None else np.tile(data.entry, copies)
        late = np.flatnonzero(entries > 0)
        with np.errstate(over="ignore"):
            goal[late] += law.log_survival([c[late] for c in columns], np.log(entries[late]))
        # only a life that does not outlast its watching needs an age
        rows, some = np.flatnonzero(~np.isfinite(end)), np.flatnonzero(np.isfinite(end))
        with np.errstate(over="ignore"):
            lasts = law.log_survival([c[some] for c in columns], np.log(end[some])) > goal[some]
        rows = np.r_[rows, some[~lasts]]
        age = np.full(len(end), np.inf)
        middle, code = np.log(data.age), groups.codes
        one = rows % max(len(middle), 1)
        log_age = log_ages_of_groups(law, at, code[one], goal[rows])
        age[rows] = np.exp(np.clip(log_age, middle[one] - 40.0, middle[one] + 25.0))
        age = np.maximum(age, entries * (1 + 1e-12))
        weight = None if data.weight is None else np.tile(data.weight, copies)
        sizes = np.tile(groups.sizes, copies)
        every = Groups(np.arange(len(sizes)), np.concatenate(([0], np.cumsum(sizes))))
        entry = entries if len(late) else None
        return LifeData(every, np.minimum(age, end), age <= end, entry, None, weight)


def _withdrawal(data: LifeData, v: Floats) -> Floats:
    """Ages of withdrawal beyond each life's own age, shape (copies, n); infinite where none is."""
    turned = LifeData(data.groups, data.age, ~data.failed, data.entry, None, data.weight)
    sets = risk_sets(turned)
    group_of_step = np.repeat(np.arange(len(data.groups)), np.diff(sets.offsets))
    # where all lives entered late, or one after all others had ended, nobody is at risk at entry
    some = sets.at_risk > 1e-9 * data.count()[group_of_step]
    share = np.where(some, sets.failures, 0.0) / np.where(some, sets.at_risk, 1.0)
    # one rising line over all groups; a step at which all are withdrawn catches whatever is left
    drop = np.where(share > 1 - 1e-9, _CATCH, -np.log1p(-np.minimum(share, 1 - 1e-9)))
    fall = np.cumsum(drop)
    own = _step_of(data.groups, data.age, sets.offsets, sets.age)
    place = np.searchsorted(fall, fall[own] - np.log(v), side="right")
    inside = place < sets.offsets[1:][data.groups.codes]
    return np.where(inside, sets.age[np.minimum(place, len(fall) - 1)], np.inf)


def _step_of(groups: Groups, age: Floats, offsets: Ints, steps: Floats) -> Ints:
    """Row of the risk set at each life's own age."""
    known = np.unique(np.r_[age, steps])
    of_step = np.repeat(np.arange(len(groups)), np.diff(offsets)) * (len(known) + 1)
    keys = of_step + np.searchsorted(known, steps)
    wanted = groups.codes * (len(known) + 1) + np.searchsorted(known, age)
    return np.searchsorted(keys, wanted).astype(np.int64)
