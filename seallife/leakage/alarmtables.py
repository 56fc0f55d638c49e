"""What the watch on leakage says of each reading and of each seal, as tables.

In: `Sequences`, `Forecasts`, `Episodes`. Out: DataFrames. Next: `seallife.leakage.alarms`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.leakage.episodes import MONTH_DAYS, Episodes
from seallife.leakage.forecasts import Forecasts, Noise
from seallife.leakage.risekinds import kinds_of_rise
from seallife.leakage.sequences import Sequences
from seallife.life.groups import Floats, Ints
from seallife.life.result import worded_status

__all__ = ["add_baselines", "add_states", "again", "kinds", "readings_table", "segments_table"]

_CLEAR = 2.0
"""Log likelihood by which one law of rise must lead the others: 7 to 1."""


def again(data: Sequences, low: Floats) -> Floats:
    """Log of the highest re-read of each reading that counts; -inf where there is none."""
    best = np.zeros(len(data.code))
    rows = np.flatnonzero(data.repeats >= 0)
    np.maximum.at(best, data.repeats[rows], low[rows])
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(best[data.row]))


def readings_table(data: Sequences, bounds: tuple[Floats, Floats], time: Floats) -> pd.DataFrame:
    """The table of readings before anything is known."""
    n = len(data.code)
    nothing = {c: np.full(n, np.nan) for c in ("z", "score", "threshold", "baseline", "line")}
    flags = {c: np.zeros(n, bool) for c in ("warned", "alarm", "rising", "confirmed")}
    return pd.DataFrame(
        {
            "segment": data.labels[data.code] if n else np.empty(0, object),
            "time": time,
            "low": bounds[0],
            "high": bounds[1],
            "use": data.use,
            **nothing,
            **flags,
        }
    )


def add_states(
    shown: pd.DataFrame,
    data: Sequences,
    seen: Forecasts,
    found: Episodes,
    noise: Noise,
    threshold: float,
    line: float,
) -> None:
    """Write what was found beside each reading; a re-read has the state of what it repeats."""
    limit = np.exp(found.level + line * np.sqrt(found.variance + noise.sigma**2))
    score = np.where(np.isfinite(seen.score), seen.score, np.nan)
    parts = {
        "z": seen.steps.z,
        "score": score,
        "threshold": np.full(len(score), threshold),
        "baseline": np.exp(found.level),
        "line": limit,
        "warned": found.warned,
        "alarm": found.begins,
        "rising": found.open,
        "confirmed": found.confirmed,
    }
    rows = np.flatnonzero(data.repeats >= 0)
    for name, values in parts.items():
        column = shown[name].to_numpy().copy()
        column[data.row] = values
        if name in ("baseline", "line", "rising", "confirmed"):
            column[rows] = column[data.repeats[rows]]
        shown[name] = column
    lower = shown["low"].to_numpy()
    warned = shown["warned"].to_numpy().copy()
    warned[rows] = lower[rows] > shown["line"].to_numpy()[rows]
    shown["warned"] = warned


def _latest(data: Sequences, at: Ints) -> tuple[Ints, Ints]:
    """Segments of some readings, each once, and the latest of the readings of each."""
    place = data.seal[at]
    latest = np.full(len(data.order), -1, np.int64)
    np.maximum.at(latest, place, at)
    with_one = np.flatnonzero(latest >= 0)
    return with_one, latest[with_one]


def kinds(data: Sequences, seen: Forecasts, found: Episodes) -> NDArray[np.object_]:
    """Kind of the latest rise of each segment, judged at the last reading at which it was on."""
    out = np.full(len(data.labels), "", dtype=object)
    place, last = _latest(data, np.flatnonzero(found.open))
    out[data.order[place]] = kinds_of_rise(data, seen.steps, last, _CLEAR)
    return out


def segments_table(
    data: Sequences,
    shown: pd.DataFrame,
    noise: Noise,
    kind: NDArray[np.object_],
    baseline: int,
) -> pd.DataFrame:
    """One row a segment."""
    g = len(data.labels)
    used = np.zeros(g, np.int64)
    used[data.order] = data.sizes
    alarms = np.bincount(data.code, shown["alarm"].to_numpy(), g).astype(np.int64)
    first, since = np.full(g, np.inf), np.full(g, -np.inf)
    when, begins = shown["time"].to_numpy(), shown["alarm"].to_numpy()
    np.minimum.at(first, data.code[begins], when[begins])
    np.maximum.at(since, data.code[begins], when[begins])
    rising, sure = np.zeros(g, bool), np.zeros(g, bool)
    place, last = _latest(data, np.arange(len(data.row)))
    rising[data.order[place]] = shown["rising"].to_numpy()[data.row[last]]
    sure[data.order[place]] = shown["confirmed"].to_numpy()[data.row[last]]
    months = np.zeros(g)
    can = data.step >= baseline
    np.add.at(months, data.order[data.seal[can]], data.gap[can] / MONTH_DAYS)
    few = (used <= baseline) | np.isnan(noise.sigma)
    state = np.select(
        [few, rising & sure, rising],
        ["cannot tell yet", "rising, confirmed", "rising"],
        "quiet",
    )
    unread = np.isnan(noise.sigma) & (used > baseline)
    status, message = worded_status(
        g,
        [
            (unread, "cannot tell yet", "Too few exact readings in the fleet to know their noise."),
            (
                few,
                "cannot tell yet",
                f"Needs {baseline} readings after the run-in before one can alarm.",
            ),
            (
                rising & ~sure,
                "not confirmed",
                "Read again within 7 days: a second reading above the line confirms.",
            ),
        ],
    )
    nothing = np.full(g, np.nan)
    return pd.DataFrame(
        {
            "segment": data.labels.tolist(),
            "n": np.bincount(data.code, minlength=g),
            "used": used,
            "baseline": nothing,
            "baseline_low": nothing,
            "baseline_high": nothing,
            "line": nothing,
            "months": months,
            "state": state.astype(object),
            "alarms": alarms,
            "first_alarm": np.where(alarms > 0, first, np.nan),
            "since": np.where(rising, since, np.nan),
            "kind": kind,
            "status": status,
            "message": message,
        }
    )


def add_baselines(
    table: pd.DataFrame, data: Sequences, found: Episodes, noise: Noise, line: float
) -> None:
    """Level of each seal as held at its last reading."""
    g = len(data.labels)
    level, variance = np.full(g, np.nan), np.full(g, np.nan)
    place, last = _latest(data, np.arange(len(data.row)))
    level[data.order[place]], variance[data.order[place]] = found.level[last], found.variance[last]
    spread = line * np.sqrt(variance)
    table["baseline"], table["line"] = (
        np.exp(level),
        np.exp(level + line * np.sqrt(variance + noise.sigma**2)),
    )
    table["baseline_low"], table["baseline_high"] = np.exp(level - spread), np.exp(level + spread)
