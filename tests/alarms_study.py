"""How often does the watch on leakage alarm for nothing, and how early does it see a seal go?

``python tests/alarms_study.py`` writes ``alarms_study.csv`` beside it (some twenty minutes);
`tests/test_leakage_alarms.py` repeats a part of it.

*Quiet fleets*: levels normal on the log scale (0.8), noise 0.5, nothing rises; 12 or 60 monthly
readings a seal, correlation 0 or 0.3, none, 30 % or 60 % below detection.

*Demo*: the leak survey of the invented fleet under other seeds, as it is read every month, and
with the same law of leakage every month and every fortnight. 55 % of failures of age ramp: leakage
doubles every 20 to 40 days over the last 60 to 120. Readings off the scale on the day of a sudden
failure are true alarms and count neither way. All ramps count, those too that began before a seal
had readings enough.

*Knows the law*: the best that any watch could do. It knows each seal's level, the noise, and the
laws of doubling time and of the time since onset, and averages the likelihood ratio over them. It
needs no reading before the first that can alarm. Its threshold is set to the rate it truly has.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.leaks import leak_readings, ramped_lives
from seallife.demo.simulate import TrueFleet, simulate_fleet
from seallife.leakage.alarms import LeakAlarms, watch_rises

TABLE = Path(__file__).parent / "alarms_study.csv"
RATES = (0.5, 1.0, 2.0, 5.0)
LEAD = 14.0
MONTH = 30.4375
SURVEYS = {"demo, monthly": 0.0, "same law, monthly": MONTH, "same law, fortnightly": MONTH / 2}


class Survey(NamedTuple):
    """Readings with the truth behind each."""

    time: np.ndarray
    low: np.ndarray
    high: np.ndarray
    life: np.ndarray
    age: np.ndarray
    to_end: np.ndarray
    ramp: np.ndarray
    pegged: np.ndarray
    level: np.ndarray
    ramps: int


def quiet_fleet(
    seals: int, readings: int, phi: float, unseen: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Time, low, high and segment of a fleet in which nothing rises."""
    time = MONTH * np.arange(readings) + 6 * rng.random((seals, readings))
    error = rng.standard_normal((seals, readings))
    for j in range(1, readings):
        error[:, j] = phi * error[:, j - 1] + np.sqrt(1 - phi**2) * error[:, j]
    value = np.exp(2.7 + 0.8 * rng.standard_normal((seals, 1)) + 0.5 * error)
    limit = np.quantile(value, unseen) if unseen else 0.0
    low, high = np.where(value < limit, 0.0, value), np.maximum(value, limit)
    segment = np.repeat(np.arange(seals), readings)
    return time.ravel(), low.ravel(), high.ravel(), segment


def quiet_rate(
    readings: int, phi: float, unseen: float, stated: float, fleets: int, seals: int
) -> tuple[float, float]:
    """False alarms per 100 position-months over some fleets, and the months."""
    rng = np.random.default_rng([readings, int(10 * phi), int(100 * unseen), int(10 * stated)])
    alarms = months = 0.0
    for _ in range(fleets):
        time, low, high, segment = quiet_fleet(seals, readings, phi, unseen, rng)
        got = watch_rises(time, low, high, segment=segment, false_alarms=stated)
        alarms += got.table["alarms"].sum()
        months += got.months
    return 100 * alarms / months, months


def _failing(fleet: TrueFleet) -> np.ndarray:
    """Ramped lives that ended with a failure; one that runs on at the end has none to foretell."""
    return ramped_lives(fleet) & fleet.lives["failed"].to_numpy()


def _ramps(fleet: TrueFleet) -> np.ndarray:
    """Ramped lives that ended while the survey ran."""
    first = sc.day_number(sc.WINDOWS[sc.SKARROW][0]) + 11
    return _failing(fleet) & (fleet.lives["end_d"] > first).to_numpy()


def demo_survey(fleet: TrueFleet) -> Survey:
    """The invented fleet's own readings, planted faults mended."""
    rows, lives = leak_readings(fleet), fleet.lives
    time = (rows["date"] - pd.Timestamp(sc.SIMULATION_START)).dt.days.to_numpy(dtype=float)
    number = pd.Series(np.arange(len(fleet.positions)), fleet.positions["position_id"])
    at = rows["position_id"].map(number).to_numpy()
    key = lives["position"].to_numpy() * 1e5 + lives["start_d"].to_numpy()
    life = np.searchsorted(key, at * 1e5 + time + 0.999, side="right") - 1
    kept = ~rows["ramp"].to_numpy() | lives["failed"].to_numpy()[life]
    rows, time, life = rows[kept].reset_index(drop=True), time[kept], life[kept]
    value, flag = rows["value"].to_numpy(), rows["flag"].to_numpy()
    unseen, pegged = (flag == "below detection") | (value == 0), flag == "above scale"
    true = rows["true_ppm"].where(~pegged).groupby(life).transform("min").to_numpy()
    end, start = (lives[c].to_numpy()[life] for c in ("end_d", "start_d"))
    return Survey(
        time,
        np.where(unseen, 0.0, value),
        np.where(unseen, sc.DETECTION_PPM, np.where(pegged, np.inf, value)),
        life,
        time - start,
        end - time,
        rows["ramp"].to_numpy(),
        pegged,
        np.log(np.where(np.isnan(true), 15.0, true)),
        int(_ramps(fleet).sum()),
    )


def drawn_survey(fleet: TrueFleet, every: float) -> Survey:
    """Readings by the law of `seallife.demo.leaks` at another interval [d]."""
    rng, lives = np.random.default_rng([fleet.seed, int(every)]), fleet.lives
    ramped, n = _failing(fleet), len(lives)
    level = np.log(15.0) + 0.8 * rng.standard_normal(n)
    length, doubling = 60 + 60 * rng.random(n), 20 + 20 * rng.random(n)
    first, last = (sc.day_number(d) for d in sc.WINDOWS[sc.SKARROW])
    position = np.flatnonzero(fleet.positions["service_class"].isin(sc.MONITORED_CLASSES))
    rounds = np.arange(first + 11, last, every)
    time = np.floor(rounds + 6 * rng.random((len(position), len(rounds))))
    keep = rng.random(time.shape) > 0.08
    at, time = np.broadcast_to(position[:, None], time.shape)[keep], time[keep]
    key = lives["position"].to_numpy() * 1e5 + lives["start_d"].to_numpy()
    life = np.maximum(np.searchsorted(key, at * 1e5 + time, side="right") - 1, 0)
    end, start = lives["end_d"].to_numpy(), lives["start_d"].to_numpy()
    runs = (lives["position"].to_numpy()[life] == at) & (time < np.floor(end[life]))
    time, life = time[runs], life[runs]
    to_end = end[life] - time
    ramp = ramped[life] & (to_end < length[life])
    true = level[life] + np.where(ramp, np.log(2) * (length[life] - to_end) / doubling[life], 0.0)
    value = np.exp(true + 0.5 * rng.standard_normal(len(time))) + 0.5 + 2.5 * rng.random(len(time))
    return Survey(
        time,
        np.where(value < sc.DETECTION_PPM, 0.0, value),
        np.maximum(value, sc.DETECTION_PPM),
        life,
        time - start[life],
        to_end,
        ramp,
        np.zeros(len(time), bool),
        level[life],
        int(_ramps(fleet).sum()),
    )


def survey(name: str, seed: int) -> Survey:
    """One of `SURVEYS` under a seed."""
    fleet, every = simulate_fleet(seed), SURVEYS[name]
    return drawn_survey(fleet, every) if every else demo_survey(fleet)


def watched(data: Survey, stated: float, baseline: int) -> LeakAlarms:
    """What the watch says of a survey."""
    return watch_rises(
        data.time,
        data.low,
        data.high,
        segment=data.life,
        age=data.age,
        baseline=baseline,
        false_alarms=stated,
    )


def knowing_score(data: Survey, sigma: float = 0.5, background: float = 1.75) -> np.ndarray:
    """Log likelihood ratio of one who knows levels, noise and the law of ramps."""
    from scipy.special import log_ndtr

    order = np.lexsort((data.time, data.life))
    time, life, level = (v[order] for v in (data.time, data.life, data.level))
    high = np.minimum(data.high[order], 1e5)
    value = np.log(np.maximum(high - background, 0.3)) - level
    unseen = data.low[order] == 0
    since = np.arange(2.0, 120, 4.0)
    speed = np.log(2) / np.arange(22.0, 40, 4.0)
    weight = np.clip((120 - since) / 60, 0, 1)
    weight = np.repeat(weight[:, None] / weight.sum() / len(speed), len(speed), axis=1)
    ratio = np.zeros((len(time), *weight.shape))
    for lag in range(12):
        now = np.arange(lag, len(time))
        then = now - lag
        near = (life[now] == life[then]) & (time[now] - time[then] < 120)
        now, then = now[near], then[near]
        ago = (time[now] - time[then])[:, None]
        rise = np.maximum(since - ago, 0.0)[:, :, None] * speed
        add = (value[then][:, None, None] * rise - 0.5 * rise**2) / sigma**2
        low = unseen[then]
        edge = (value[then[low]] / sigma)[:, None, None]
        add[low] = log_ndtr(edge - rise[low] / sigma) - log_ndtr(edge)
        ratio[now] += add
    top = ratio.max(axis=(1, 2), keepdims=True)
    score = np.empty(len(time))
    score[order] = top[:, 0, 0] + np.log((np.exp(ratio - top) * weight).sum(axis=(1, 2)))
    return np.where(data.age >= 30, score, -np.inf)


def knowing_states(data: Survey, score: np.ndarray, threshold: float) -> np.ndarray:
    """State and beginnings of alarms, ended by two readings in a row below the threshold."""
    order = np.lexsort((data.time, data.life))
    out = np.zeros((2, len(order)), bool)
    high, life = (score > threshold)[order].tolist(), data.life[order].tolist()
    before, on, calm = -1, False, 0
    for i, (above, this) in enumerate(zip(high, life, strict=True)):
        if this != before:
            before, on = this, False
        begins = above and not on
        calm = 0 if above else calm + 1
        on = above or (on and calm < 2)
        out[:, order[i]] = on, begins
    return out


def measure(data: Survey, on: np.ndarray, begins: np.ndarray, kind: pd.Series) -> dict[str, object]:
    """Counts of one survey; the lead is that of the first reading of a ramp in alarm."""
    lead = pd.Series(data.to_end[data.ramp & on]).groupby(data.life[data.ramp & on]).max()
    new = pd.Series(data.to_end[data.ramp & begins]).groupby(data.life[data.ramp & begins]).max()
    quiet = ~data.ramp & ~data.pegged
    said = kind.reindex(lead.index)
    return {
        "false": int((begins & quiet).sum()),
        "ramps": data.ramps,
        "leads": lead.tolist(),
        "early_new": int((new >= LEAD).sum()),
        "on": float(on[quiet].mean()),
        "said_ramp": int((said == "ramp").sum()),
        "said_step": int((said == "step").sum()),
    }


def gathered(rows: list[dict[str, object]], months: float) -> dict[str, object]:
    """One row of the table from the counts of some surveys."""
    total = pd.DataFrame(rows)
    ramps = int(total["ramps"].sum())
    leads = np.array([d for part in total["leads"] for d in part])
    low, mid, top = (round(float(q)) for q in np.quantile(leads, [0.1, 0.5, 0.9]))
    return {
        "months": round(months),
        "false_rate": round(100 * total["false"].sum() / months, 3),
        "ramps": ramps,
        "detected": round(len(leads) / ramps, 3),
        "early": round(float((leads >= LEAD).sum()) / ramps, 3),
        "early_new": round(total["early_new"].sum() / ramps, 3),
        "lead_10": low,
        "lead_50": mid,
        "lead_90": top,
        "quiet_in_alarm": round(total["on"].mean(), 4),
        "said_ramp": round(total["said_ramp"].sum() / len(leads), 3),
        "said_step": round(total["said_step"].sum() / len(leads), 3),
    }


def watch_row(surveys: list[Survey], stated: float, baseline: int) -> dict[str, object]:
    """`watch_rises` on some surveys."""
    rows, months = [], 0.0
    for data in surveys:
        got = watched(data, stated, baseline)
        months += got.months
        kind = got.table.set_index("segment")["kind"]
        state = got.readings[["rising", "alarm"]].to_numpy().T
        rows.append(measure(data, state[0], state[1], kind))
    return gathered(rows, months)


def knowing_row(surveys: list[Survey], stated: float) -> dict[str, object]:
    """The watch that knows the law, at the threshold that gives the rate."""
    scores = [knowing_score(data) for data in surveys]
    months = 0.0
    for data in surveys:
        order = np.lexsort((data.time, data.life))
        gap = np.diff(data.time[order])
        same = (np.diff(data.life[order]) == 0) & (data.age[order][1:] >= 30)
        months += gap[same].sum() / MONTH
    none = pd.Series(dtype=object)

    def rows(threshold: float) -> list[dict[str, object]]:
        return [
            measure(d, *knowing_states(d, s, threshold), none)
            for d, s in zip(surveys, scores, strict=True)
        ]

    low, high = -2.0, 8.0
    for _ in range(10):
        middle = 0.5 * (low + high)
        rate = 100 * sum(int(str(r["false"])) for r in rows(middle)) / months
        low, high = (middle, high) if rate > stated else (low, middle)
    out = gathered(rows(high), months)
    return out | {"said_ramp": np.nan, "said_step": np.nan}


def main(fleets: int) -> None:
    """Write the table, row by row."""
    rows: list[dict[str, object]] = []

    def add(**row: object) -> None:
        rows.append(row)
        pd.DataFrame(rows).to_csv(TABLE, index=False)

    for readings, seals, some in ((12, 1000, fleets), (60, 200, fleets)):
        for phi in (0.0, 0.3):
            for unseen in (0.0, 0.3, 0.6):
                rate, months = quiet_rate(readings, phi, unseen, 1.0, some, seals)
                add(
                    fleet=f"quiet, {readings} readings, phi {phi:g}, {unseen:.0%} unseen",
                    watch="as shipped",
                    stated=1.0,
                    fleets=some,
                    months=round(months),
                    false_rate=round(rate, 3),
                )
    for name in SURVEYS:
        surveys = [survey(name, 100 + i) for i in range(fleets)]
        for watch, baseline in (("as shipped", 6), ("baseline 3", 3), ("knows the law", 0)):
            for stated in RATES:
                row = (
                    watch_row(surveys, stated, baseline)
                    if baseline
                    else knowing_row(surveys, stated)
                )
                add(fleet=name, watch=watch, stated=stated, fleets=fleets, **row)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 16)
