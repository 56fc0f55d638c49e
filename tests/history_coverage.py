"""How often do intervals of the history hold the truth, and how often do its tests ring falsely?

``python tests/history_coverage.py`` writes ``history_coverage.csv`` beside it (half an hour);
`tests/test_history_coverage.py` repeats a part of it. Intervals are nominally 90 %; tests are read
at 5 % and at 10 %.

Fleets have positions whose rates differ by a gamma law with mean 1 and the standard deviation given
as ``differ``, and gaps of a Weibull law of the shape given (1: events at random). ``watched``:

- new: all positions new at the begin and watched to the end;
- steady: in the middle of their service at the begin, watched to the end;
- come and go: steady, but two in five enter late, one in five leaves early, one in four has a gap.

For limits of MTBF a share ``repeat`` of all events brings another at the same position, on average
two months later, and ``rings_5`` is the share of fleets whose limits are widened.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from math import gamma
from pathlib import Path

import numpy as np
import pandas as pd

from seallife import history
from seallife.history.clustering import clustering, repeat_pairs
from seallife.history.watch import fleet_exposure, read_watch

TABLE = Path(__file__).parent / "history_coverage.csv"
SPAN, LEVEL = 10.0, 0.90
SHAPES, DIFFER = (0.8, 1.0, 1.5), (0.0, 0.7)
WATCHED = ("new", "steady", "come and go")
IN_SERVICE = WATCHED[1:]  # new positions have no one rate unless events are at random
ENDS = ((100.0,), (100.0, 60.0, 30.0))
SIZES = ((10, 30), (10, 100), (40, 60), (100, 300))  # positions, events expected
REPEATS = (0.0, 0.15, 0.3)
SOON = 60 / 365.25  # mean time to a repeat [years]
COLUMNS = ["what", "positions", "events", "shape", "differ", "repeat", "watched", "fleets"]
COLUMNS += ["cover", "too_high", "too_low", "rings_5", "rings_10"]


@dataclass(frozen=True)
class Fleets:
    """Events and stretches of many fleets, one group each; unit numbers run through."""

    times: np.ndarray
    unit: np.ndarray
    start: np.ndarray
    end: np.ndarray
    stretch_unit: np.ndarray
    group: np.ndarray
    rate: np.ndarray  # of each unit, events a year at risk

    def arguments(self) -> tuple[np.ndarray, ...]:
        """Arguments of the functions that take positions."""
        return (self.times, self.unit, self.start, self.end, self.stretch_unit)


def fleets(
    count: int, positions: int, events: float, shape: float, differ: float, watched: str, seed: int
) -> Fleets:
    """Draw so many fleets."""
    rng = np.random.default_rng(
        [seed, positions, int(events), int(10 * shape), int(10 * differ), WATCHED.index(watched)]
    )
    n = count * positions
    first, last = np.zeros(n), np.full(n, SPAN)
    hole = np.full((n, 2), SPAN)
    if watched == "come and go":
        late, early, gap = rng.random(n) < 0.4, rng.random(n) < 0.2, rng.random(n) < 0.25
        first[late] = rng.uniform(0, 0.6 * SPAN, late.sum())
        last[early] = rng.uniform(0.7 * SPAN, SPAN, early.sum())
        hole[gap, 0] = rng.uniform(first[gap], last[gap])
        hole[gap, 1] = np.minimum(hole[gap, 0] + rng.uniform(0.05, 1.5, gap.sum()), last[gap])
    law = rng.gamma(1 / differ**2, differ**2, n) if differ else np.ones(n)
    rate = law * events / (positions * _held(watched))
    mean = 1 / rate
    at = np.zeros(n) if watched == "new" else first - rng.uniform(8, 12, n) * mean
    times, owner = [], []
    living = np.arange(n)
    while len(living):
        at[living] += rng.weibull(shape, len(living)) * mean[living] / gamma(1 + 1 / shape)
        living = living[at[living] <= last[living]]
        seen = living[at[living] > first[living]]
        inside = (at[seen] <= hole[seen, 0]) | (at[seen] > hole[seen, 1])
        times.append(at[seen][inside].copy())
        owner.append(seen[inside])
    broken = (hole[:, 0] < last) & (hole[:, 1] > hole[:, 0])
    cut = np.where(broken, hole[:, 0], last)
    again = broken & (hole[:, 1] < last)
    unit = np.arange(n)
    start = np.concatenate([first, hole[again, 1]])
    end = np.concatenate([cut, last[again]])
    whose = np.concatenate([unit, unit[again]])
    keep = end > start
    return Fleets(
        np.concatenate(times),
        np.concatenate(owner),
        start[keep],
        end[keep],
        whose[keep],
        whose[keep] // positions,
        rate,
    )


def _held(watched: str) -> float:
    """Mean time for which a position is watched, by a million draws once."""
    if watched != "come and go":
        return SPAN
    return COME_AND_GO


COME_AND_GO = 8.3185  # mean time watched [years], by drawing a million positions


def _limits(truth: float, low: pd.Series, high: pd.Series) -> dict[str, float]:
    """Share of intervals that hold the truth, lie above it, lie below it."""
    above, below = float((low > truth).mean()), float((high < truth).mean())
    return {"cover": 1 - above - below, "too_high": above, "too_low": below}


def _rings(p: np.ndarray | pd.Series) -> dict[str, float]:
    """Share of tests that ring; one that cannot be done does not ring."""
    values = np.nan_to_num(np.asarray(p, dtype=float), nan=1.0)
    return {"rings_5": float((values <= 0.05).mean()), "rings_10": float((values <= 0.10).mean())}


def recurrence(
    positions: int, events: int, shape: float, differ: float, watched: str, count: int, seed: int
) -> list[dict[str, object]]:
    """Limits of the mean cumulative number at the end."""
    drawn = fleets(count, positions, events, shape, differ, watched, seed)
    got = history.mean_cumulative(*drawn.arguments(), group=drawn.group, level=LEVEL)
    rows = got.at([SPAN - 1e-9]).dropna(subset="low")
    truth = events / positions / _held(watched) * SPAN
    if watched == "new":
        many = fleets(60, 1_000, 1_000 * events // positions, shape, differ, watched, seed + 1)
        truth = len(many.times) / 60_000
    return [{"what": "mean cumulative number", **_limits(truth, rows["low"], rows["high"])}]


def difference(
    positions: int, events: int, shape: float, differ: float, watched: str, count: int, seed: int
) -> list[dict[str, object]]:
    """Two groups alike: tests, and limits of the difference half way and at the end."""
    one = fleets(2 * count, positions // 2, events / 2, shape, differ, watched, seed)
    kind = one.group % 2
    pair = one.group // 2
    of_event = one.unit // (positions // 2) // 2
    first: list[tuple[float, ...]] = []
    for k in range(count):
        mine, rows = of_event == k, pair == k
        got = history.mean_cumulative_difference(
            one.times[mine], one.unit[mine], one.start[rows], one.end[rows],
            one.stretch_unit[rows], kind[rows], level=LEVEL, resamples=199, seed=k,
        )  # fmt: skip
        curve = got.curve
        place = [len(curve) // 2, len(curve) - 1]
        held = [np.nan, np.nan]
        if len(curve):
            held = [float(curve["low"].iloc[i] <= 0 <= curve["high"].iloc[i]) for i in place]
        first.append((got.p, got.gap_p, *held))
    table = np.array(first)
    return [
        {"what": "difference over the whole time", **_rings(table[:, 0])},
        {"what": "largest gap", **_rings(table[:, 1])},
        {"what": "difference half way", "cover": float(np.nanmean(table[:, 2]))},
        {"what": "difference at the end", "cover": float(np.nanmean(table[:, 3]))},
    ]


def own_exposure(drawn: Fleets) -> tuple[np.ndarray, pd.Series]:
    """Each event on its position's own exposure, and each position's whole exposure."""
    spans = pd.DataFrame({"unit": drawn.stretch_unit, "start": drawn.start, "end": drawn.end})
    spans = spans.sort_values(["start"]).reset_index(drop=True)
    spans["before"] = (spans["end"] - spans["start"]).groupby(spans["unit"]).cumsum()
    spans["before"] -= spans["end"] - spans["start"]
    order = np.argsort(drawn.times)
    rows = pd.DataFrame({"unit": drawn.unit[order], "time": drawn.times[order]})
    met = pd.merge_asof(rows, spans, by="unit", left_on="time", right_on="start")
    out = np.empty(len(order))
    out[order] = (met["before"] + met["time"] - met["start"]).to_numpy()
    whole = (spans["end"] - spans["start"]).groupby(spans["unit"]).sum()
    return out, whole


def trends(
    positions: int, events: int, shape: float, differ: float, watched: str, count: int, seed: int
) -> list[dict[str, object]]:
    """Trend tests of fleets in which nothing changes, and limits of the change."""
    drawn = fleets(count, positions, events, shape, differ, watched, seed)
    spent, whole = own_exposure(drawn)
    systems = history.trend_tests(
        spent, whole.to_numpy(), unit=drawn.unit, end_unit=whole.index.to_numpy(),
        group=whole.index.to_numpy() // positions, starts_new=watched == "new", resamples=499,
    ).table  # fmt: skip
    watch = read_watch(*drawn.arguments(), group=drawn.group)
    clock = fleet_exposure(watch)
    owner = watch.group_of_unit[watch.unit_of_event]
    pooled = np.clip(clock.at(watch.time, owner), 1e-9, clock.total()[owner])
    number = np.arange(len(watch))
    fleet = history.trend_tests(
        pooled, clock.total(), unit=owner, end_unit=number, group=number, resamples=99
    ).table
    by = history.trend_by_position(*drawn.arguments(), group=drawn.group, level=LEVEL, per=1.0)
    out: list[dict[str, object]] = []
    for name in ("laplace", "mil_hdbk", "reversals", "lewis_robinson"):
        out.append({"what": f"{name}, by position", **_rings(systems[f"{name}_p"])})
    for name in ("laplace", "mil_hdbk"):
        out.append({"what": f"{name}, pooled exposure", **_rings(fleet[f"{name}_p"])})
    limits = _limits(1.0, by.table["ratio_low"], by.table["ratio_high"])
    out.append({"what": "trend by position", **_rings(by.table["p"]), **limits})
    return out


def by_month(drawn: Fleets, repeat: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Events and years at risk of each unit in each month, shape (units, months); with repeats."""
    rng = np.random.default_rng([seed, int(100 * repeat)])
    edges = np.linspace(0, SPAN, int(12 * SPAN) + 1)
    years, counts = np.zeros((2, len(drawn.rate), len(edges) - 1))
    cut = np.clip(edges, drawn.start[:, None], drawn.end[:, None])
    np.add.at(years, drawn.stretch_unit, np.diff(cut, axis=1))
    unit, at = drawn.unit, drawn.times
    while len(unit):
        month = np.minimum(np.searchsorted(edges, at, side="right") - 1, len(edges) - 2)
        # what falls into a gap or after the end is not seen, but may bring more
        seen = (at <= SPAN) & (years[unit, month] > 0)
        np.add.at(counts, (unit[seen], month[seen]), 1)
        again = rng.random(len(unit)) < repeat
        unit, at = unit[again], at[again] + rng.exponential(SOON, int(again.sum()))
    return counts, years


def mtbf_limits(
    positions: int,
    events: int,
    shape: float,
    differ: float,
    repeat: float,
    watched: str,
    count: int,
    seed: int = 1,
) -> pd.DataFrame:
    """Limits of the MTBF of these positions, whole record, three years and one, and if exact."""
    parts: list[pd.DataFrame] = []
    for at in range(0, count, 500):  # to bound memory
        some = min(500, count - at)
        first = events * (1 - repeat)
        drawn = fleets(some, positions, first, shape, differ, watched, seed + 1000 * at)
        counts, years = by_month(drawn, repeat, seed + at)
        owner = np.repeat(np.arange(some), positions)
        factor = clustering(repeat_pairs(counts, years), owner)["factor"].to_numpy()
        expected = drawn.rate[:, None] / (1 - repeat) * years
        for name, months in (("record", slice(None)), ("3 years", slice(48, 84)),
                             ("year", slice(60, 72))):  # fmt: skip
            n, t, mean = (
                part[:, months].sum(axis=1).reshape(some, positions).sum(axis=1)
                for part in (counts, years, expected)
            )
            for word, size in (("", factor), (", exact", np.ones(some))):
                got = history.mtbr(t, n, level=LEVEL, dispersion=size)
                rows = pd.DataFrame({"low": got["low"], "high": got["high"], "truth": t / mean})
                parts.append(rows.assign(what=f"MTBF, {name}{word}", rings_5=size > 1))
    rows = pd.concat(parts)
    above, below = rows["low"] > rows["truth"], rows["high"] < rows["truth"]
    told = rows.assign(cover=~above & ~below, too_high=above, too_low=below)
    means = told.groupby("what")[["cover", "too_high", "too_low", "rings_5"]].mean().reset_index()
    return means.assign(
        positions=positions, events=events, shape=shape, differ=differ, repeat=repeat,
        watched=watched, fleets=count,
    )  # fmt: skip


def changes(
    positions: int, events: int, shape: float, differ: float, watched: str, count: int, seed: int
) -> list[dict[str, object]]:
    """Searches for a change in fleets in which nothing changes."""
    drawn = fleets(count, positions, events, shape, differ, watched, seed)
    settings: dict[str, float | int] = {"alarm": 1e-6, "resamples": 199}
    by = history.change_by_position(*drawn.arguments(), group=drawn.group, **settings)  # type: ignore[arg-type]
    watch = read_watch(*drawn.arguments(), group=drawn.group)
    clock = fleet_exposure(watch)
    owner = watch.group_of_unit[watch.unit_of_event]
    pooled = np.clip(clock.at(watch.time, owner), 1e-9, clock.total()[owner])
    got = history.change_point(
        pooled,
        clock.total(),
        group=owner,
        end_group=np.arange(len(watch)),
        **settings,  # type: ignore[arg-type]
    )
    return [
        {"what": "change by position", **_rings(by.table["p"])},
        {"what": "change point, pooled exposure", **_rings(got.table["p"])},
    ]


def dates(
    positions: int, events: int, shape: float, differ: float, watched: str, count: int, seed: int
) -> list[dict[str, object]]:
    """Interval of the date of a rate that halves in the middle, where it is found."""
    drawn = fleets(count, positions, events, shape, differ, watched, seed)
    rng = np.random.default_rng(seed)
    at = 0.55 * SPAN
    keep = (drawn.times <= at) | (rng.random(len(drawn.times)) < 0.5)
    got = history.change_by_position(
        drawn.times[keep], drawn.unit[keep], drawn.start, drawn.end, drawn.stretch_unit,
        group=drawn.group, resamples=199,
    ).table  # fmt: skip
    found = got[got["changed"] & got["change_low"].notna()]
    held = _limits(at, found["change_low"], found["change_high"]) if len(found) else {}
    share = float(got["changed"].mean())
    return [{"what": "date of a halved rate", **held, "rings_5": share}]


def law(events: int, shape: float, ends: tuple[float, ...], count: int, seed: int) -> pd.DataFrame:
    """Limits of the shape of a power law and of the rate at the end; fits in which it holds."""
    rng = np.random.default_rng([seed, events, int(10 * shape), len(ends)])
    end = np.tile(np.asarray(ends), count)
    of = np.repeat(np.arange(count), len(ends))
    scale = events / sum(e**shape for e in ends)
    n = rng.poisson(scale * end**shape)
    unit = np.repeat(np.arange(len(end)), n)
    times = end[unit] * rng.random(len(unit)) ** (1 / shape)
    got = history.power_law(
        times, end, unit=unit, end_unit=np.arange(len(end)), group=of, level=LEVEL, resamples=499
    ).table
    got = got[got["events"] >= 2]
    rate = scale * shape * max(ends) ** (shape - 1)
    rows: list[dict[str, object]] = [
        {"what": "power law: shape", **_limits(shape, got["shape_low"], got["shape_high"])},
        {
            "what": "power law: rate at end",
            **_limits(rate, got["rate_at_end_low"], got["rate_at_end_high"]),
        },
        {"what": "power law: fit", **_rings(got["fit_p"])},
    ]
    if len(ends) == 1:
        mtbf = got["end"] / (got["events"] * got["shape_unbiased"])
        low, high = history.handbook_mtbf_limits(mtbf, got["events"], level=LEVEL)
        held = _limits(1 / rate, pd.Series(low), pd.Series(high))
        rows.append({"what": "power law: handbook limits", **held})
    table = pd.DataFrame(rows)
    return table.assign(events=events, shape=shape, positions=len(ends), fleets=len(got))


def cell(
    study: Callable[..., list[dict[str, object]]],
    size: tuple[int, int],
    shape: float,
    differ: float,
    watched: str,
    count: int,
    seed: int = 1,
) -> pd.DataFrame:
    """One cell of a study of fleets."""
    rows = study(*size, shape, differ, watched, count, seed)
    table = pd.DataFrame(rows).assign(
        positions=size[0], events=size[1], shape=shape, differ=differ, watched=watched
    )
    return table.assign(fleets=count)


def save(table: pd.DataFrame) -> None:
    """Write the table, in an order that does not hang on that of the runs."""
    keys = ["what", "positions", "events", "shape", "differ", "repeat", "watched"]
    table.reindex(columns=COLUMNS).sort_values(keys).round(4).to_csv(TABLE, index=False)


def main() -> None:
    """Run all cells and write them."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2_000
    parts: list[pd.DataFrame] = []
    done: list[tuple[Callable[..., list[dict[str, object]]], tuple[int, int], str, int]] = [
        *((recurrence, s, w, count) for s in ((5, 20), (5, 60), *SIZES) for w in WATCHED),
        *((difference, s, w, count // 5) for s in ((10, 30), (20, 60), (40, 200)) for w in WATCHED),
        *((trends, s, w, count // 2) for s in ((5, 30), *SIZES) for w in WATCHED),
        *((changes, s, w, count // 2) for s in ((5, 30), *SIZES[:3]) for w in WATCHED[1:]),
        *((dates, s, w, count // 10) for s in ((20, 120), (60, 200)) for w in WATCHED[1:]),
    ]
    for (study, size, watched, n), shape, differ in product(done, SHAPES, DIFFER):
        parts.append(cell(study, size, shape, differ, watched, n))
        sys.stdout.write(f"{study.__name__} {size} {watched} {shape} {differ}\n")
        sys.stdout.flush()
    for size, shape, differ, repeat, watched in product(SIZES, SHAPES, DIFFER, REPEATS, IN_SERVICE):
        if shape == 1.0 or not repeat:
            parts.append(mtbf_limits(*size, shape, differ, repeat, watched, count))
    for events, shape, ends in product((3, 5, 10, 30, 100), (0.6, 1.0, 1.5), ENDS):
        parts.append(law(events, shape, ends, count, 1))
    save(pd.concat(parts, ignore_index=True))


if __name__ == "__main__":
    main()
