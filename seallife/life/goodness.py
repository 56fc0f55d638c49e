"""Could these lives have come from the law fitted to them?

In: a law with its parameters. Out: how far it is from the lives, and like lives drawn from it.
Next: `seallife.life.choose`.

Failures counted by age are held against those that the law expects of the lives at risk; the
greatest gap, over the root of all failures, is the misfit. Its size under the law itself comes from
lives drawn from it, with the same late entries and the same kind of withdrawals.
"""

from __future__ import annotations

import numpy as np

from seallife.life.groups import Floats, Groups, Ints, order_within, running_sum, segment_max
from seallife.life.lawages import log_age_at
from seallife.life.lawfits import LawFit, fit_one_law
from seallife.life.laws import Law
from seallife.life.lawslopes import SLOPES
from seallife.life.lifedata import LifeData, read_lives
from seallife.life.risksets import risk_sets

__all__ = ["draw_lives", "fit_test", "misfit"]

_ROWS = 20_000  # lives whose drawings are held at once
_CATCH = 40.0  # above the log of any random number drawn


def fit_test(law: Law, fit: LawFit, data: LifeData, resamples: int, seed: int) -> Floats:
    """Share of like lives from the law that are as far from it as the lives seen, shape (g,)."""
    out = np.full(len(data.groups), np.nan)
    tried = np.isfinite(fit.loglik)
    if not resamples or not tried.any():
        return out
    where, done = fit.where[tried], 0
    found = []
    # a block of groups at a time, so that their drawings stay small
    for part in data.take(tried).blocks(_ROWS):
        at = where[done : done + len(part.groups)]
        done += len(part.groups)
        drawn = draw_lives(law, at, part, resamples, seed)
        near = np.tile(at, (resamples, 1))
        again = fit_one_law(law, drawn, near if law.name in SLOPES else None)
        with np.errstate(invalid="ignore"):
            far = misfit(law, again.where, drawn).reshape(resamples, -1)
            seen = misfit(law, at, part)
            known = np.isfinite(far)
            # rounding must not tell a draw from itself
            as_far = known & (far >= seen * (1 - 1e-9))
        found.append((1 + as_far.sum(axis=0)) / (1 + known.sum(axis=0)))
    out[tried] = np.concatenate(found)
    return out


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
    weight = np.ones(len(data.age)) if data.weight is None else data.weight
    entry = np.zeros(len(data.age)) if data.entry is None else data.entry
    columns = [groups.spread(c) for c in at.T]
    late, waited = np.flatnonzero(entry > 0), np.zeros(len(entry))
    with np.errstate(invalid="ignore", over="ignore"):
        # a group without a fit is NaN, and stays so
        lived = -law.log_survival(columns, np.log(data.age))
        waited[late] = -law.log_survival([c[late] for c in columns], np.log(entry[late]))
    # ends and entries of each group in one line of rising ages
    offsets, sizes = 2 * groups.offsets, groups.sizes
    ends_at = np.arange(len(entry)) + np.repeat(groups.offsets[:-1], sizes)
    enters_at = ends_at + np.repeat(sizes, sizes)

    def merged(at_end: Floats, at_entry: Floats) -> Floats:
        out = np.empty(2 * len(entry))
        out[ends_at], out[enters_at] = at_end, at_entry
        return out

    order = order_within(merged(data.age, entry), offsets)
    hazard, died = (
        merged(a, b)[order]
        for a, b in ((lived, waited), (data.failed * weight, np.zeros(len(entry))))
    )
    sign = merged(weight, -weight)[order]
    # by now a life has met the hazard up to its end or now, less that up to its entry or now
    gone = running_sum(sign * hazard, offsets)
    going = running_sum(-sign, offsets)
    expected = gone + hazard * going
    seen = running_sum(died, offsets)
    gap = np.maximum(np.abs(seen - expected), np.abs(seen - died - expected))
    with np.errstate(invalid="ignore", divide="ignore"):
        top = segment_max(np.where(died > 0, gap, -np.inf), offsets)
        return np.asarray(top / np.sqrt(data.count(data.failed)))


def draw_lives(law: Law, at: Floats, data: LifeData, copies: int, seed: int) -> LifeData:
    """Like lives from the law, ``copies`` of each group, as groups of their own, copy by copy.

    A withdrawn life keeps the age at which it would be withdrawn. That of a failed life is drawn
    from the ages at which others of its group were, beyond its own (product-limit). Every group
    uses the same random numbers, row by row in the order of its ages: neither the order of rows nor
    the names of groups matter.
    """
    rng = np.random.default_rng(seed)
    groups, n = data.groups, len(data.age)
    entry = np.zeros(n) if data.entry is None else data.entry
    order = np.lexsort((entry, data.failed, data.age, groups.codes))
    position = np.empty(n, dtype=np.int64)
    position[order] = np.arange(n) - np.repeat(groups.offsets[:-1], groups.sizes)
    widest = int(groups.sizes.max(initial=0))
    # never quite 0 or 1: a life neither fails when fitted nor lasts for ever
    # and drawn life by life, so that a larger group elsewhere changes nothing
    u, v = np.clip(rng.random((widest, 2, copies)), 1e-16, 1 - 1e-16)[position].transpose(1, 2, 0)
    columns = [np.tile(groups.spread(c), copies) for c in at.T]
    entries = np.tile(entry, copies)
    goal = np.log(u).ravel()
    late = np.flatnonzero(entries > 0)
    with np.errstate(over="ignore"):
        goal[late] += law.log_survival([c[late] for c in columns], np.log(entries[late]))
    end = np.where(data.failed, _withdrawal(data, v), data.age).ravel()
    # only a life that does not outlast its watching needs an age
    rows = np.flatnonzero(~np.isfinite(end))
    some = np.flatnonzero(np.isfinite(end))
    with np.errstate(over="ignore"):
        lasts = law.log_survival([c[some] for c in columns], np.log(end[some])) > goal[some]
    rows = np.r_[rows, some[~lasts]]
    age = np.full(len(end), np.inf)
    middle = np.tile(np.log(data.age), copies)[rows]
    log_age = log_age_at(law, [c[rows] for c in columns], goal[rows])
    age[rows] = np.exp(np.clip(log_age, middle - 40.0, middle + 25.0))
    age = np.maximum(age, entries * (1 + 1e-12))
    code = (np.arange(copies)[:, None] * len(groups) + groups.codes).ravel()
    return read_lives(
        np.minimum(age, end),
        age <= end,
        group=code,
        entry_age=entries,
        weight=None if data.weight is None else np.tile(data.weight, copies),
    )


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
