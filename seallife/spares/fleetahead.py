"""From the records to the seals ahead: who runs, how old, how fast, by which laws.

In: life table, register, run hours, outages, pooled laws. Out: `FleetAhead`. Next:
`seallife.spareanswers`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from seallife.clocks import RunClock
from seallife.history.eventsahead import routine_removals
from seallife.life.groups import Floats
from seallife.life.pooling import PooledWeibull
from seallife.life.usable import Clock, UsableLives, usable_lives
from seallife.schema import HOURS_PER_DAY
from seallife.spares.ahead import FleetAhead
from seallife.spares.confirmed import NO_ITEM
from seallife.spares.lawdraws import LawDraws, draw_laws
from seallife.spares.positionfactors import PositionFactors, position_factors
from seallife.spares.yearswing import likeness_of_years

__all__ = ["fleet_ahead"]

_CELLS = 4_000_000  # draws times seals
_DRAWS = (80, 160)
_BY = "service_class"


def fleet_ahead(
    lives: pd.DataFrame,
    positions: pd.DataFrame,
    run_clock: RunClock,
    outages: pd.DataFrame,
    pooled: PooledWeibull,
    clock: Clock = "run_h",
    *,
    seed: int = 1,
) -> FleetAhead:
    """Which seals run, at which age, and by which laws will they fail?

    Parameters
    ----------
    lives : DataFrame
        Table of a `LifeTable`.
    positions : DataFrame
        The register: ``position_id``, ``pool``, ``criticality``, ``commissioned``, ``retired``.
    run_clock : RunClock
        Run hours of the last year say how fast each position ages.
    outages : DataFrame
        ``site``, ``unit`` (empty: all), ``start``, ``end``; those ahead and those past.
    pooled : PooledWeibull
        Of the same lives by class on the same clock.
    clock : {'run_h', 'calendar_d'}
    seed : int

    Returns
    -------
    FleetAhead

    Raises
    ------
    InputError
        No seal has failed.
    """
    use = usable_lives(lives, _BY, clock)
    classes = pd.Index(pooled.table["group"].astype(str))
    running = lives[lives["end"] == "in service"]
    now = pd.Timestamp(lives["exit"].max() if running.empty else running["exit"].max())
    coming = positions[positions["commissioned"] > now]
    coming = coming[~coming["position_id"].isin(running["position_id"])]
    n = len(running) + len(coming)
    draws = int(np.clip(_CELLS // max(n, 1), *_DRAWS))
    laws = draw_laws(use, pooled.posterior, classes, draws, seed)
    rng = np.random.default_rng((seed, 7))
    seals = _seals(running, coming, positions, now)
    place = classes.get_indexer(pd.Index(seals[_BY].astype(str)))
    hours = np.clip(run_clock.hours_a_day(seals["position_id"], now), 0.0, HOURS_PER_DAY)
    in_hours = clock == "run_h"
    unit = "h" if in_hours else "d"
    age = pd.to_numeric(running[f"exit_age_{unit}"]).to_numpy(np.float64, na_value=np.nan)
    age = np.where(running["age_known"].to_numpy(dtype=bool) & (age >= 0), age, np.nan)
    age = np.append(age, np.zeros(len(coming)))
    unaged = _rates_unaged(lives, use, classes, draws, rng)
    factors, years_alike = _factors(lives, use, laws, unaged, seals["position_id"])
    days, shares = _outages(seals, lives, outages, now)
    seals = seals.assign(
        **{f"age_{unit}": age},
        hours_a_day=hours,
        factor=factors.mean,
        days_to_outage=np.where(np.isfinite(days[:, 0]), days[:, 0], np.nan),
    )
    return FleetAhead(
        seals,
        place,
        age,
        hours if in_hours else np.ones(n),
        seals["starts_d"].to_numpy(np.float64),
        factors,
        years_alike,
        laws,
        unaged,
        _planned(lives, classes, now, draws, rng),
        days,
        shares,
        now,
    )


def _seals(
    running: pd.DataFrame, coming: pd.DataFrame, positions: pd.DataFrame, now: pd.Timestamp
) -> pd.DataFrame:
    """One row a seal: those in service, then those of positions to come."""
    names = ["life_id", "position_id", "tag", "site", "unit", _BY]
    new = coming.reindex(columns=names[1:]).assign(life_id="", starts_d=0.0)
    new["starts_d"] = (coming["commissioned"] - now).dt.days.astype(float)
    seals = pd.concat([running[names].assign(starts_d=0.0), new], ignore_index=True)
    own = positions.set_index("position_id")
    for name, empty in (("pool", NO_ITEM), ("criticality", "")):
        known = seals["position_id"].map(own[name]).astype(object)
        seals[name] = known.where(known.notna() & (known != ""), empty)
    return seals


def _rates_unaged(
    lives: pd.DataFrame, use: UsableLives, classes: pd.Index, draws: int, rng: np.random.Generator
) -> Floats:
    """Failures a unit of the clock of seals whose age is not known, shape (draws, c).

    They are seldom young: the seals of unknown age on record count, and half a failure's worth of
    the rate of all seals of the class.
    """
    spent = np.nan_to_num(_spent(lives, use.unit))
    place = classes.get_indexer(pd.Index(use.label.astype(str)))
    failed = (lives["end"] == "failed").to_numpy()
    c = len(classes)

    def sums(rows: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
        died = np.bincount(place[rows & failed], minlength=c).astype(np.float64)
        return died, np.asarray(np.bincount(place[rows], spent[rows], c), dtype=np.float64)

    died, time = sums(np.ones(len(place), dtype=bool))
    fleet = (died.sum() + 0.5) / max(time.sum(), 1.0)
    whole = (died + 0.5) / (time + 0.5 / fleet)
    own, under = sums(use.out)
    return np.asarray(rng.gamma(own + 0.5, size=(draws, c)) / (under + 0.5 / whole))


def _factors(
    lives: pd.DataFrame,
    use: UsableLives,
    laws: LawDraws,
    unaged: Floats,
    wanted: pd.Series,
) -> tuple[PositionFactors, float]:
    """How often the positions wanted fail against their class; how alike years are."""
    place = laws.classes.get_indexer(pd.Index(use.label.astype(str)))
    middle = laws.cumulative.mean(axis=0, keepdims=True)
    mean = LawDraws(laws.classes, laws.ages, middle, laws.unit, laws.seed)
    unaged_due = np.nan_to_num(_spent(lives, use.unit)) * unaged.mean(axis=0)[place]
    due = mean.hazard_between(place, use.entry, use.middle)[0]
    due = np.where(use.out, unaged_due, due)
    had = (lives["end"] == "failed").to_numpy(np.float64)
    record = pd.DataFrame({"had": had, "due": due}).groupby(lives["position_id"].to_numpy()).sum()
    whole = position_factors(record["had"].to_numpy(), record["due"].to_numpy())
    own = record.reindex(wanted).fillna(0.0)
    factors = PositionFactors(
        own["had"].to_numpy(), own["due"].to_numpy(), whole.alike, whole.apart
    )
    age = np.where(use.out, np.nan, use.middle)
    return factors, likeness_of_years(lives, place, use.entry, age, unaged_due, mean)


def _spent(lives: pd.DataFrame, unit: str) -> Floats:
    """Time at risk of each life on the clock of ages."""
    column = "hours" if unit == "h" else "days"
    return pd.to_numeric(lives[column]).to_numpy(np.float64, na_value=np.nan)


def _planned(
    lives: pd.DataFrame, classes: pd.Index, now: pd.Timestamp, draws: int, rng: np.random.Generator
) -> Floats:
    """Removals in good order a day and seal, by class, shape (draws, c)."""
    count, spent = routine_removals(lives, classes, now)
    # classes lean on the fleet by half a removal's worth
    whole = (count.sum() + 0.5) / max(spent.sum(), 1.0)
    return np.asarray(rng.gamma(count + 0.5, size=(draws, len(classes))) / (spent + 0.5 / whole))


def _outages(
    seals: pd.DataFrame, lives: pd.DataFrame, outages: pd.DataFrame, now: pd.Timestamp
) -> tuple[Floats, Floats]:
    """Days to the outages ahead of each seal, and the share of seals renewed in them.

    The share is that of the site's last outage on record.
    """
    ahead = outages[outages["start"] >= now].sort_values("start", kind="stable")
    days = np.full((len(seals), max(len(ahead), 1)), np.inf)
    shares = np.zeros_like(days)
    unit = ahead["unit"].fillna("").astype(str)
    past = outages[outages["start"] < now].sort_values("start", kind="stable")
    # an outage that begins today is ahead
    starts = np.maximum((ahead["start"] - now).dt.days.to_numpy(np.float64), 0.5)
    for k, (site, where) in enumerate(zip(ahead["site"], unit, strict=True)):
        hit = (seals["site"] == site) & ((where == "") | (seals["unit"] == where))
        days[hit.to_numpy(), k] = starts[k]
        before = past[past["site"] == site]
        if len(before):
            shares[hit.to_numpy(), k] = _share_renewed(lives, before.iloc[-1])
    order = np.argsort(days, axis=1, kind="stable")
    days, shares = (np.take_along_axis(x, order, axis=1) for x in (days, shares))
    some = max(int(np.isfinite(days).any(axis=0).sum()), 1)
    return days[:, :some], np.where(np.isfinite(days), shares, 0.0)[:, :some]


def _share_renewed(lives: pd.DataFrame, outage: pd.Series) -> float:
    """Share of the seals in service at an outage's start that were renewed in it as planned."""
    unit = "" if pd.isna(outage["unit"]) else str(outage["unit"])
    mine = (lives["site"] == outage["site"]) & ((unit == "") | (lives["unit"] == unit))
    there = mine & (lives["entry"] < outage["start"]) & (lives["exit"] >= outage["start"])
    end = outage["end"] if pd.notna(outage["end"]) else outage["start"]
    renewed = there & (lives["reason"] == "planned in outage")
    renewed &= lives["exit"] <= end + pd.Timedelta(days=7)
    return float(renewed.sum() / max(there.sum(), 1))
