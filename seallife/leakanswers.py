"""All that readings of leakage say, each answer found when it is first asked for.

In: `Readings`, `LifeTable`, the site's limits, `Rules`. Out: `LeakAnswers`. Next:
`seallife.study`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from seallife.clocks import day_number
from seallife.findings import make_findings, no_findings
from seallife.leakage.alarmrate import rate_in_alarm
from seallife.leakage.alarms import LeakAlarms, watch_rises_at
from seallife.leakage.emissions import EmissionTotals, population_emissions
from seallife.leakage.exceedances import Exceedances, exceedances_of
from seallife.leakage.forecast import TimeToLimit, time_to_limit
from seallife.leakage.foretell import AlarmRecord, foretold_failures
from seallife.leakage.limits import LimitsInForce, limits_in_force
from seallife.leakage.nextstep import steps_in_alarm
from seallife.leakage.poolslopes import PooledSlopes, pool_slopes
from seallife.leakage.readings import Readings
from seallife.leakage.tobit import censored_lognormal
from seallife.leakage.trend import Trends, trend
from seallife.life.effects import FactorEffects
from seallife.lives import LifeTable
from seallife.settings import Rules

__all__ = ["FALSE_ALARM_RATES", "LeakAnswers"]

FALSE_ALARM_RATES = (0.5, 1.0, 2.0, 5.0)
"""Rates of false alarms, per 100 position-months, at which the record of the alarms is shown."""

_LEAST = 4  # readings of a segment that tell a slope
_LEAST_DAYS = 90.0
_SLOPE_DAYS = 30.0
_OLD_D = 1e5
_FOLLOWED = (
    *("record_id", "position_id", "site", "unit", "service_class", "life_id", "segment"),
    *("day", "method", "measured_in", "low", "high", "kind", "age_d"),
)
_LIMITED = (
    *("position_id", "site", "unit", "service_class", "life_id"),
    *("date", "method", "measured_in", "low", "high"),
)
_UNSURE = (
    "In alarm, and the rise is not sure enough for a time to be told. Many failures show nothing "
    "before."
)
_NO_STATES = pd.DataFrame({"life_id": [], "day": [], "judged": [], "alarm": []})


@dataclass(frozen=True, eq=False)
class LeakAnswers:
    """What leaks, whether it rises, when it reaches a limit, and whether that foretells failure.

    Attributes
    ----------
    readings : Readings
    lives : LifeTable
    limits : DataFrame
        The site's own, as read: columns of ``leak_limits``.
    rules : Rules
    """

    readings: Readings
    lives: LifeTable
    limits: pd.DataFrame
    rules: Rules

    @property
    def any(self) -> bool:
        """Whether there is a reading that a trend may rest on."""
        return len(self._rows) > 0

    @property
    def limited(self) -> bool:
        """Whether there are limits, and readings to hold against them."""
        return len(self.limits) > 0 and len(self.readings.table) > 0

    @cached_property
    def trends(self) -> Trends:
        """Whether the leakage of each seal life rises, and how fast."""
        rows = self._rows
        below = (rows["kind"] == "below").to_numpy()
        return trend(
            rows["day"],
            np.where(below, rows["high"], rows["low"]),
            nondetect=below,
            pegged=rows["kind"] == "above",
            segment=rows["segment"],
            pool=rows["pool"],
            level=self.rules.level,
        )

    @cached_property
    def slopes(self) -> PooledSlopes:
        """How leakage goes on with time in the seals of each class: natural log per 30 days."""
        rows = self._rows
        day = rows.groupby("segment")["day"]
        long = day.transform("max") - day.transform("min") >= _LEAST_DAYS
        rows = rows[long & (day.transform("size") >= _LEAST)]
        fits = censored_lognormal(
            rows["low"],
            rows["high"],
            rows["segment"],
            time=rows["day"] - rows.groupby("segment")["day"].transform("mean"),
            level=self.rules.level,
        ).table
        fits = fits[(fits["status"] == "ok") & (fits["slope_se"] > 0)]
        about = rows.drop_duplicates("segment").set_index("segment")
        wide = self.trends.table.set_index("segment")["inflation"].reindex(fits["segment"])
        # noise is that of the class: a few readings that lie in line by chance are no sure slope
        pool = about.loc[fits["segment"], "pool"].to_numpy()
        usual = fits["sigma_adjusted"].groupby(pool).transform("median")
        error = fits["slope_se"] * usual / fits["sigma"] * np.sqrt(wide.fillna(1.0).to_numpy())
        return pool_slopes(
            fits["slope"] * _SLOPE_DAYS,
            error * _SLOPE_DAYS,
            about.loc[fits["segment"], "service_class"].astype(str).to_numpy(),
            level=self.rules.level,
        )

    @cached_property
    def alarms(self) -> Mapping[str, LeakAlarms]:
        """Which leakage rises, as it would have been known at each reading, by method."""
        return self._watched[0]

    @cached_property
    def rising(self) -> pd.DataFrame:
        """Seals in service whose leakage rises: alarm, forecast and next step in one row each.

        Columns of `LeakAlarms.table` and, with ``ahead_`` in front where both have one, of
        `TimeToLimit.table`, with ``position_id``, ``life_id``, ``service_class``, ``site``,
        ``unit``, ``method``, ``measured_in``, ``next_step``, ``over`` (kind of limit that the last
        reading is over, '' for none); those over a legal limit first, then a house limit, then by
        the earliest time.
        """
        about = self._rows.drop_duplicates("segment").set_index("segment")
        names = ["position_id", "life_id", "service_class", "site", "unit", "method", "measured_in"]
        parts = [a.table for a in self.alarms.values()]
        if not parts:
            return pd.DataFrame(columns=["segment", "state", *names, "next_step"])
        ahead = self.forecast.table.set_index("segment").add_prefix("ahead_")
        table = pd.concat(parts, ignore_index=True).join(ahead, on="segment", how="inner")
        table = table.join(about[names], on="segment")
        sure, alarm = table["state"] == "rising, confirmed", table["state"].str.startswith("rising")
        unsure = alarm & (table["ahead_status"] == "not rising")
        table["ahead_status"] = table["ahead_status"].mask(unsure, "not sure")
        table["ahead_message"] = table["ahead_message"].mask(unsure, _UNSURE)
        over = self._over(table["life_id"])
        step = steps_in_alarm(table["ahead_next_step"], alarm, sure, over == "legal")
        table = table.assign(next_step=step, over=over)
        table = table[alarm | table["ahead_rank"].notna() | (table["over"] != "")]
        rank = table["over"].map({"legal": 0, "house": 1}).fillna(2)
        table = table.assign(first=rank).sort_values(
            ["first", "ahead_rank", "position_id"], kind="stable", ignore_index=True
        )
        return table.drop(columns="first")

    def _over(self, life: pd.Series) -> pd.Series:
        """Which kind of limit is each seal life over, by its last readings; '' for none."""
        table = self.exceedances.table
        found = table[(table["state"] == "open") & (table["verdict"] == "over")]
        first = found.drop_duplicates("life").set_index("life")["kind"]
        return life.map(first).fillna("").astype(object)

    @cached_property
    def findings(self) -> pd.DataFrame:
        """Limits that hold no reading, or that cannot be held against those they are meant for."""
        if not self.limited:
            return no_findings()
        said = self.in_force.messages
        return make_findings(
            "limit of leakage not in use",
            "ask",
            said["limit_row"].astype(str),
            said["message"].astype(str).tolist(),
            column="limit",
            value=said["readings"],
            action="no reading is held against it as written",
        )

    @property
    def breaches(self) -> pd.DataFrame:
        """Open readings over a legal limit, the first thing to be said anywhere."""
        return self.open_breaches("legal")

    def open_breaches(self, kind: str) -> pd.DataFrame:
        """Readings over a limit of a kind, or perhaps so, that no later one or renewal closes."""
        table = self.exceedances.table
        return table[(table["kind"] == kind) & (table["state"] == "open")]

    @cached_property
    def in_force(self) -> LimitsInForce:
        """Which limits each reading is held against."""
        return limits_in_force(self._limits, self._for_limits)

    @cached_property
    def exceedances(self) -> Exceedances:
        """Every reading over a limit, legal limits first; readings and limits by their records."""
        found = exceedances_of(self.in_force, self._for_limits)
        record = self.readings.table["record_id"].reindex(found.table["reading"])
        return replace(found, table=found.table.assign(reading=record.to_numpy()))

    @cached_property
    def forecast(self) -> TimeToLimit:
        """When leakage that rises reaches its lowest limit, for seals in service."""
        rows = self._rows
        lives = self.lives.table
        rows = rows[rows["life_id"].isin(lives.loc[lives["end"] == "in service", "life_id"])]
        held = self.in_force.table
        least = held[held["kind"] != "statistical"].groupby("reading")["limit"].min()
        last = rows.sort_values("day").drop_duplicates("segment", keep="last")
        table = self.readings.table
        row_of = pd.Series(table.index, index=table["record_id"].to_numpy())
        limit = least.reindex(row_of.reindex(last["record_id"]).to_numpy())
        limits = {int(k): float(v) for k, v in zip(last["segment"], limit, strict=True)}
        return time_to_limit(
            rows["day"],
            rows["low"],
            rows["high"],
            limits,
            segment=rows["segment"],
            level=self.rules.level,
        )

    @cached_property
    def records(self) -> Mapping[float, AlarmRecord]:
        """What became of failures and alarms, at several rates of false alarms."""
        return {rate: self._record(rate) for rate in self.rates}

    @property
    def rates(self) -> tuple[float, ...]:
        """Rates of false alarms looked at, the site's own among them."""
        return tuple(sorted({*FALSE_ALARM_RATES, self.rules.false_alarms}))

    @property
    def record(self) -> AlarmRecord:
        """The record at the site's own rate of false alarms."""
        return self.records[self.rules.false_alarms]

    @cached_property
    def hazard(self) -> FactorEffects:
        """By how many times the failure rate is higher while a seal is in alarm."""
        return rate_in_alarm(
            self._watched[1][self.rules.false_alarms], self.lives.table, level=self.rules.level
        )

    @cached_property
    def emissions(self) -> EmissionTotals | None:
        """What all seals let out in each year, where the site has named a correlation."""
        if not self.rules.emission_family:
            return None
        rows = self.readings.table
        rows = rows[(rows["quantity"] == "concentration") & (rows["doubt"] == "")]
        return population_emissions(
            rows["position_id"],
            rows["date"],
            rows["low"],
            rows["high"],
            family=self.rules.emission_family,
            level=self.rules.level,
        )

    @cached_property
    def _rows(self) -> pd.DataFrame:
        rows = self.readings.for_trends[list(_FOLLOWED)]
        each = rows[["method", "measured_in"]].drop_duplicates()
        each = each.assign(pool=each["method"].astype(str) + ", " + each["measured_in"])
        return rows.merge(each, on=["method", "measured_in"], how="left")

    @property
    def _limits(self) -> pd.DataFrame:
        named = self.limits.rename(columns={"unit": "limit_unit", "plant_unit": "unit"})
        return named.set_index("record_id")

    @cached_property
    def _for_limits(self) -> pd.DataFrame:
        """Readings as limits are held against them: all that have bounds, whatever the doubt."""
        table = self.readings.table
        rows = table.loc[table["low"].notna() & (table["kind"] != "word"), list(_LIMITED)]
        lives = self.lives.table.set_index("life_id")
        out = lives["exit"].where(lives["end"] != "in service")
        rows = rows.rename(columns={"measured_in": "reading_unit", "life_id": "life"})
        return rows.assign(
            life=rows["life"].mask(rows["life"] == ""), life_end=rows["life"].map(out)
        )

    @cached_property
    def _watched(self) -> tuple[dict[str, LeakAlarms], dict[float, pd.DataFrame]]:
        """Alarms of each method at the site's own rate, and states of the alarm at every rate.

        Each method is watched by itself, as their noise is not the same; in the states the
        methods of one seal stand together.
        """
        own: dict[str, LeakAlarms] = {}
        parts: dict[float, list[pd.DataFrame]] = {rate: [] for rate in self.rates}
        for name, rows in self._rows.groupby("pool", sort=True):
            found = watch_rises_at(
                rows["day"],
                rows["low"],
                rows["high"],
                self.rates,
                segment=rows["segment"],
                # a seal whose begin nobody knows is past its running in
                age=rows["age_d"].fillna(_OLD_D),
                level=self.rules.level,
            )
            for rate, alarms in zip(self.rates, found, strict=True):
                if rate == self.rules.false_alarms:
                    own[str(name)] = alarms
                state = pd.DataFrame(
                    {
                        "life_id": rows["life_id"].to_numpy(),
                        "day": rows["day"].to_numpy(),
                        "judged": alarms.readings["score"].notna().to_numpy(),
                        "alarm": alarms.readings["rising"].to_numpy(dtype=bool),
                    }
                )
                parts[rate].append(state)
        states = {rate: _together(part) for rate, part in parts.items()}
        return own, states

    def _record(self, rate: float) -> AlarmRecord:
        lives = self.lives.table
        ends = pd.DataFrame(
            {
                "life_id": lives["life_id"],
                "end": lives["end"],
                "exit_day": day_number(lives["exit"]),
                "service_class": lives["service_class"].astype(str),
            }
        )
        return foretold_failures(
            self._watched[1][rate], ends, group="service_class", level=self.rules.level
        )


def _together(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """States of several methods as one of each seal and day."""
    both = pd.concat(parts or [_NO_STATES], ignore_index=True)
    if len(parts) < 2 and not both.duplicated(["life_id", "day"]).any():
        return both
    return both.groupby(["life_id", "day"], as_index=False).max()
