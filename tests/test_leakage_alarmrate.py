"""Failure rate in alarm: known truth, the referee, bad input."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.errors import InputError
from seallife.leakage.alarmrate import rate_in_alarm

ORIGIN = pd.Timestamp("1970-01-01")


def _fleet(ratio: float, seals: int = 400) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Readings each 30 days; alarms come and stay at random; the rate in alarm is ``ratio`` times.

    Without alarm a tenth of seals fail in a hundred days.
    """
    rng = np.random.default_rng(int(10 * ratio))
    states, lives = [], []
    for i in range(seals):
        alarm, day, end = False, 0.0, "in service"
        while day < 900:
            alarm = alarm or rng.random() < 0.05
            states.append((f"L{i}", day, True, alarm))
            wait = rng.exponential(1_000 / (ratio if alarm else 1))
            if wait < 30:
                day, end = day + wait, "failed"
                break
            day += 30
        lives.append((f"L{i}", ORIGIN, ORIGIN + pd.Timedelta(days=day), end, f"P{i // 2}", "X"))
    columns = ["life_id", "start", "exit", "end", "position_id", "service_class"]
    return (
        pd.DataFrame(states, columns=["life_id", "day", "judged", "alarm"]),
        pd.DataFrame(lives, columns=columns),
    )


@pytest.mark.parametrize("ratio", [1.0, 4.0])
def test_the_true_ratio_lies_within_the_limits(ratio: float) -> None:
    row = rate_in_alarm(*_fleet(ratio)).table.iloc[0]
    assert row["label"] == "in alarm"
    assert row["low"] < ratio < row["high"]
    assert row["high"] / row["low"] < 2.5


@pytest.mark.filterwarnings("ignore::Warning")  # of the referee
def test_lifelines_says_the_same() -> None:
    from lifelines import CoxTimeVaryingFitter

    states, lives = _fleet(4.0, 120)
    ends = lives.set_index("life_id")
    rows = states.assign(start=states["day"], alarm=states["alarm"].astype(int))
    exit_day = (ends["exit"] - ORIGIN).dt.total_seconds() / 86_400
    last = rows.groupby("life_id")["day"].shift(-1)
    whole = np.floor(exit_day.reindex(rows["life_id"]).to_numpy())  # days, as the package counts
    rows["stop"] = last.fillna(pd.Series(whole, index=rows.index))
    rows["event"] = last.isna() & (ends["end"].reindex(rows["life_id"]).to_numpy() == "failed")
    rows = rows[rows["stop"] > rows["start"]]
    referee = CoxTimeVaryingFitter()
    referee.fit(
        rows[["life_id", "start", "stop", "event", "alarm"]],
        id_col="life_id",
        event_col="event",
        start_col="start",
        stop_col="stop",
    )
    floored = lives.assign(exit=lives["exit"].dt.floor("D"))
    got = rate_in_alarm(states, floored).table.iloc[0]
    assert got["coef"] == pytest.approx(referee.params_["alarm"], abs=0.02)  # ties: Efron, both


def test_order_says_nothing_and_lives_of_unknown_age_are_left_out() -> None:
    states, lives = _fleet(4.0, 150)
    one = rate_in_alarm(states, lives).table.iloc[0]
    mixed = rate_in_alarm(states.sample(frac=1, random_state=1), lives[::-1]).table.iloc[0]
    assert mixed["coef"] == pytest.approx(one["coef"], abs=1e-9)
    unknown = lives.assign(start=lives["start"].where(lives["life_id"] != "L0"))
    without = rate_in_alarm(states[states["life_id"] != "L0"], lives).table.iloc[0]
    assert rate_in_alarm(states, unknown).table.iloc[0]["coef"] == pytest.approx(without["coef"])


def test_bad_input_says_where() -> None:
    states, lives = _fleet(1.0, 5)
    with pytest.raises(InputError, match="states"):
        rate_in_alarm(states.drop(columns="alarm"), lives)
    with pytest.raises(InputError, match="lives"):
        rate_in_alarm(states, lives.drop(columns="start"))
