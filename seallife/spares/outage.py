"""Which seals to renew in the outage?

In: seals in service, `LawDraws`, costs, days between outages. Out: `OutageList`. Next: report.

Each seal is looked at as it will stand when the outage begins, if it still runs: is it cheaper to
renew it then, or to leave it in until the outage after? The figures are of seals alike in class,
age and position. A seal that leaks is no matter of statistics and stands before all others.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.errors import InputError
from seallife.life.groups import Floats
from seallife.life.lifedata import check_level
from seallife.life.result import TableResult, worded_status
from seallife.schema import DAYS_PER_YEAR
from seallife.spares.lawdraws import LawDraws
from seallife.spares.opportunity import look_ahead, renew_now
from seallife.spares.outageseals import days_between, read_seals
from seallife.spares.outagewords import LEAK_FIRST, VERDICTS, outage_messages
from seallife.spares.replacement import NO_COST, Cost, costs_of

__all__ = ["OutageList", "outage_list"]

_METHOD = (
    "chance to fail before the next outage against time given away, over all laws that the records "
    "allow"
)
_SOURCE = "Dekker & Dijkstra (1992), Naval Research Logistics 39, 975-990"


@dataclass(frozen=True, eq=False)
class OutageList(TableResult):
    """Which seals to renew in the coming outage, those that gain most first.

    Attributes
    ----------
    table : DataFrame
        One row a seal in service, in order of ``rank``:

        - ``life_id``, ``position_id``, ``tag``, ``site``, ``unit``, ``service_class``,
          ``criticality``, ``leak_state`` where given;
        - ``days_to_outage``; ``days_between`` it and the one after, and whether that was 'given' or
          is the 'default'; ``age_then``: age when it begins;
        - ``chance_before``: share of such seals expected to fail before it; ``chance_left``,
          ``chance_renewed``: of those that still run then, and of new ones, the share expected to
          fail before the outage after; each with ``_low``, ``_high``;
        - ``cost_leaving``, ``cost_renewing``, ``gain`` with ``gain_low``, ``gain_high``: see
          `seallife.spares.opportunity.Opportunity`; ``pays``: share of the laws under which there
          is a gain; ``simple_rule``: whether chance times cost of a failure is above the planned
          cost, which leaves out that a new seal may fail too;
        - ``verdict``: 'act on the leak', 'renew', 'cannot tell yet', 'leave', 'no cost given', ''
          where there is no figure; ``rank`` (NaN there); ``status``, ``message``.
    totals : DataFrame
        Per class and for all: ``seals`` in service, ``asked`` of them with figures, ``marked`` to
        be renewed, and seals expected to fail: ``before`` the outage; ``after_left`` between it and
        the one after if none is renewed; ``after_renewed`` if those marked are. Each with
        ``_low``, ``_high`` (what the records leave open, not chance). Of seals now in service
        with figures only: one that replaces a failed seal is not counted; NaN where there is none.
    line : int
        Rows above the money line: 'act on the leak' and 'renew'.
    draws, seed : int
    """

    totals: pd.DataFrame
    line: int
    draws: int
    seed: int


def outage_list(
    seals: pd.DataFrame,
    laws: LawDraws,
    *,
    planned_cost: Cost = np.nan,
    failure_cost: Cost = np.nan,
    spacing: pd.DataFrame | None = None,
    default_days: float = 4 * DAYS_PER_YEAR,
    not_by_age: Collection[str] = (),
    level: float = 0.90,
) -> OutageList:
    """Which seals in service does it pay to renew in the coming outage?

    Parameters
    ----------
    seals : DataFrame
        One row a seal in service: ``life_id``, ``position_id``, ``tag``, ``site``, ``unit``,
        ``service_class``, ``criticality``, ``age_h`` (``age_d`` for laws in days; NaN where
        unknown), ``hours_a_day`` (for laws in hours), ``factor`` (how often the position fails
        against its class), ``days_to_outage`` (NaN where none lies ahead). Optional:
        ``leak_state`` ('in alarm', 'none', 'not read'), ``alarm_chance`` to fail before the outage,
        and as much again before the one after: it is taken where it is above that of the law.
    laws : LawDraws
        Laws that the records allow.
    planned_cost, failure_cost : float or mapping of criticality to float
        Of a renewal in the outage and of a failure; NaN where not known.
    spacing : DataFrame, optional
        ``site``, ``unit`` (empty: all units of the site), ``days_between``: from the coming outage
        to the one after.
    default_days : float
        Where that is not given.
    not_by_age : collection of str
        Classes whose failures are not known to grow with age, `Replacement.not_by_age`: renewal is
        never advised for them.
    level : float
        Of limits, and share of the laws under which renewal must pay (or not pay) for a verdict.

    Returns
    -------
    OutageList

    Raises
    ------
    InputError
        A column is missing, or a value cannot be used.

    Notes
    -----
    First come seals in alarm, then those with costs: 'renew', 'cannot tell yet' and 'leave', by
    gain in each; then those without, by criticality and chance to fail between the outages; last
    those of which nothing can be said.
    """
    check_level(level)
    rows = read_seals(seals, laws.unit)
    if not (np.isfinite(default_days) and default_days > 0):
        raise InputError(f"is {default_days!r}", where="default_days", hint="give days above 0")
    between, given = days_between(rows, spacing, default_days)
    per_day = rows["hours_a_day"].to_numpy() if laws.unit == "h" else np.ones(len(rows))
    days = rows["days_to_outage"].to_numpy()
    age = rows[f"age_{laws.unit}"].to_numpy()
    place = laws.classes.get_indexer(pd.Index(rows["service_class"]))
    status, message = worded_status(
        len(rows),
        [
            (place < 0, "no law", "No law of life is known for this class: there is no figure."),
            (np.isnan(age), "age not known", "The age is not known: there is no figure."),
            (np.isnan(per_day), "run not known", "Hours a day are not known: there is no figure."),
            (np.isnan(days), "no outage ahead", "No outage of this unit is known to lie ahead."),
        ],
    )
    asked = np.array(status) == "ok"
    planned = costs_of(planned_cost, rows["criticality"], "planned_cost")
    failure = costs_of(failure_cost, rows["criticality"], "failure_cost")

    then = age + per_day * days
    here = place[asked]
    factor = rows["factor"].to_numpy()[asked]
    before = -np.expm1(-laws.hazard_between(here, age[asked], then[asked]) * factor)
    stretch = (per_day * between)[asked]
    ahead = look_ahead(laws, here, then[asked], stretch, factor, planned[asked], failure[asked])
    before, left, running = _with_alarms(
        rows["alarm_chance"].to_numpy()[asked], before, ahead.chance_left, ahead.running, stretch
    )
    chosen = renew_now(left, running, ahead.cost_rate, planned[asked], failure[asked])

    def row_figures(drawn: dict[str, Floats], limits: bool) -> dict[str, Floats]:
        out = {}
        tails = [(1 - level) / 2, (1 + level) / 2]
        for name, values in drawn.items():
            parts = {name: values.mean(axis=0)}
            if limits:
                low, high = np.quantile(values, tails, axis=0)
                parts |= {f"{name}_low": low, f"{name}_high": high}
            for column, part in parts.items():
                out[column] = np.full(len(rows), np.nan)
                out[column][asked] = part
        return out

    chances = {"chance_before": before, "chance_left": left}
    chances["chance_renewed"] = ahead.chance_renewed
    known = np.where(np.isnan(chosen.gain), np.nan, chosen.renew)
    table = rows.drop(columns=["factor", "alarm_chance", "hours_a_day"]).assign(
        days_between=between,
        days_between_from=np.where(given, "given", "default"),
        age_then=then,
        **row_figures(chances, True),
        **row_figures(
            {"cost_leaving": chosen.cost_leaving, "cost_renewing": chosen.cost_renewing}, False
        ),
        **row_figures({"gain": chosen.gain}, True),
        **row_figures({"pays": known}, False),
    )
    simple = pd.Series(table["chance_left"] * failure > planned, dtype="boolean")
    table["simple_rule"] = simple.where(table["gain"].notna())
    blocked = table["service_class"].isin(list(not_by_age)).to_numpy()
    table["verdict"] = _verdicts(table, asked, blocked, level)
    priced = asked & table["gain"].notna().to_numpy()
    table["status"] = np.where(asked & ~priced, NO_COST, np.array(status, dtype=object))
    table["message"] = outage_messages(table, message, blocked)
    marked = table["verdict"].isin([LEAK_FIRST, "renew"]).to_numpy()
    totals = _totals(table, asked, marked, before, left, ahead.chance_renewed, level)
    method = (
        f"{_METHOD}; where the time between outages is not given, "
        f"{default_days / DAYS_PER_YEAR:.1f} years"
    )
    return OutageList(
        _ranked(table), level, method, _SOURCE, totals, int(marked.sum()), laws.draws, laws.seed
    )


def _with_alarms(
    alarm: Floats, before: Floats, left: Floats, running: Floats, stretch: Floats
) -> tuple[Floats, Floats, Floats]:
    """Chances raised to that of an alarm, and the time then run, at a constant rate."""
    alarm = np.minimum(np.where(np.isnan(alarm), 0.0, alarm), 1 - 1e-9)
    raised = alarm > left
    rate = np.where(alarm > 0, -np.log1p(-alarm), 1.0)
    time = np.where(raised, stretch * alarm / rate, running)
    return np.maximum(before, alarm), np.maximum(left, alarm), time


def _verdicts(
    table: pd.DataFrame, asked: NDArray[np.bool_], blocked: NDArray[np.bool_], level: float
) -> list[str]:
    """What to do with each seal, in words."""
    pays = table["pays"].to_numpy()
    leaks = table.get("leak_state", pd.Series("", index=table.index)).eq("in alarm").to_numpy()
    words: list[str] = np.select(
        [leaks, ~asked, np.isnan(pays), pays <= 1 - level, (pays >= level) & ~blocked],
        [LEAK_FIRST, "", NO_COST, "leave", "renew"],
        "cannot tell yet",
    ).tolist()
    return words


def _ranked(table: pd.DataFrame) -> pd.DataFrame:
    """Rows in order, with their rank."""
    group = table["verdict"].map({word: i for i, word in enumerate(VERDICTS)})
    unpriced = table["gain"].isna()
    order = (
        table.assign(
            _group=group,
            _critical=table["criticality"].astype(object).where(unpriced, ""),
            _gain=-table["gain"],
            _chance=-table["chance_left"],
        )
        .sort_values(["_group", "_critical", "_gain", "_chance", "life_id"], kind="stable")
        .index
    )
    out = table.loc[order].reset_index(drop=True)
    rank = np.where(out["verdict"] == "", np.nan, np.arange(1.0, len(out) + 1))
    out.insert(1, "rank", rank)
    return out


def _totals(
    table: pd.DataFrame,
    asked: NDArray[np.bool_],
    marked: NDArray[np.bool_],
    before: Floats,
    left: Floats,
    renewed: Floats,
    level: float,
) -> pd.DataFrame:
    """Seals expected to fail, by class and for all."""
    names = table["service_class"].astype(object).where(table["service_class"].notna(), "unknown")
    code, classes = pd.factorize(names, sort=True)
    member = np.vstack((np.ones(len(code)), code == np.arange(len(classes))[:, None]))
    after = np.where(marked[asked], renewed, left)
    runs = 1 - before
    out = pd.DataFrame({"service_class": ["all", *classes]})
    for name, rows in (("seals", asked | True), ("asked", asked), ("marked", marked)):
        out[name] = (member @ rows).astype(np.int64)
    for name, drawn in (
        ("before", before),
        ("after_left", runs * left),
        ("after_renewed", runs * after),
    ):
        sums = np.where(out["asked"] > 0, drawn @ member[:, asked].T, np.nan)
        out[name] = sums.mean(axis=0)
        ends = np.quantile(sums, [(1 - level) / 2, (1 + level) / 2], axis=0)
        out[f"{name}_low"], out[f"{name}_high"] = ends
    return out
