"""Forecasts of earlier years against what happened: counts by hand, fates, words, known truth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest
from builders import fleet_of, seal_order

from seallife.errors import InputError
from seallife.intake import Fleet
from seallife.scorecard import Scorecard, scorecard
from seallife.scorecard.happened import events_of, fates
from seallife.scorecard.made import keep_contract
from seallife.scorecard.words import bias_word, range_word, skill_verdict
from seallife.scoring import Skill, constant_rate
from seallife.study import Study, run_study

EARLY = pd.Timestamp(1900, 1, 1)
CELLS = 60
YEARLY = 0.6  # failures a position and year


def _even(times: float = 1.0) -> Any:
    """A stand-in: the constant rate of each group, or so many times it, without its doubt."""

    def forecast(study: Study, months: Sequence[int]) -> tuple[pd.DataFrame, np.ndarray]:
        events = events_of(study)
        rows = pd.DataFrame(
            [
                (kind, by, group, m)
                for kind in ("failures", "seals needed")
                for by in ("all", "site", "service_class", "pool")
                for group in sorted(set(events.groups[by]) - {""})
                for m in months
            ],
            columns=["kind", "by", "group", "months"],
        )
        seen = events.counts(rows, EARLY, events.last)[0]
        years = events.years(rows, EARLY, events.last)
        ahead = events.positions(rows) * rows["months"].to_numpy() / 12
        return rows, constant_rate(seen, years, times * ahead, CELLS)

    return forecast


def _chances(study: Study, months: int) -> pd.DataFrame:
    lives = study.lives.table
    running = lives.loc[lives["end"] == "in service", ["life_id", "position_id"]]
    return running.assign(chance=-np.expm1(-YEARLY * months / 12))


def _pump(i: int, **more: object) -> dict[str, object]:
    place = {"service_class": "WATER" if i % 2 else "OIL", "pool": f"{100 + i % 3}"}
    return {"tag": f"P-{100 + i}", "commissioned": "2015-01-31"} | place | more


def _simulated(seed: int, pumps: int = 40) -> Fleet:
    """Pumps whose seals fail at one rate and are back on the day."""
    rng = np.random.default_rng(seed)
    days = pd.date_range("2016-01-01", "2021-12-31")
    hit = rng.random((pumps, len(days))) < YEARLY / 365.25
    orders = [seal_order(f"P-{100 + i}", f"{days[d]:%Y-%m-%d}") for i, d in np.argwhere(hit)]
    # one pump comes late, and is one of those of which the store must think
    late = [_pump(pumps, commissioned="2020-03-01")]
    orders.append(seal_order(f"P-{100 + pumps}", "2020-09-09"))
    return fleet_of(
        [*(_pump(i) for i in range(pumps)), *late], end="2021-12-31", work_orders=orders
    )


@pytest.fixture(scope="module")
def study() -> Study:
    return run_study(_simulated(11))


@pytest.fixture(scope="module")
def card(study: Study) -> Scorecard:
    return scorecard(study, _even(), _chances, horizons=[24, 12])


def _row(card: Scorecard, kind: str, by: str, months: int) -> pd.Series[Any]:
    t = card.table
    return t[(t["kind"] == kind) & (t["by"] == by) & (t["months"] == months)].iloc[0]


# -- what happened --------------------------------------------------------------------------------


def test_counts_are_those_of_the_whole_record(study: Study, card: Scorecard) -> None:
    removals = study.removals.table
    pool = study.register.table.set_index("position_id")["pool"]
    rows = card.forecasts
    assert sorted(rows["origin"].unique()) == list(
        pd.date_range("2017-12-31", "2020-12-31", freq="YE")
    )
    for r in rows[rows["by"].isin(["all", "pool"])].itertuples():
        until = r.origin + pd.DateOffset(months=r.months)
        came = removals[(removals["end"] > r.origin) & (removals["end"] <= until)]
        if r.by == "pool":
            came = came[came["position_id"].map(pool) == r.group]
        if r.kind == "failures":
            came = came[came["ended"] == "failed"]
        assert (r.observed, r.until) == (len(came), until)


def test_events_of_positions_that_came_later_are_told_apart(card: Scorecard) -> None:
    new = card.forecasts.query("by == 'all' and kind == 'failures' and months == 12")
    assert new.set_index(new["origin"].dt.year)["new"].to_dict() == {
        2017: 0, 2018: 0, 2019: 1, 2020: 0
    }  # fmt: skip


def test_a_forecast_of_the_rule_itself_gains_nothing_over_it(card: Scorecard) -> None:
    assert card.table["gain_rate"].tolist() == pytest.approx([0] * len(card.table), abs=1e-12)
    assert (card.table["gain_usage"] != 0).all()


def test_right_forecasts_are_found_right_and_low_ones_low(study: Study, card: Scorecard) -> None:
    row = _row(card, "failures", "pool", 12)
    assert row["forecasts"] == 12
    assert (row["leaning"], row["ranges"]) == ("not seen to lean", "not seen to miss")
    last = [pd.Timestamp(year, 12, 31) for year in (2019, 2020)]
    low = scorecard(study, _even(0.5), origins=last, horizons=[12])
    row = _row(low, "failures", "all", 12)
    assert row["leaning"] == "too low"
    assert row["gain_rate"] < 0
    row = _row(low, "seals needed", "pool", 12)
    assert row["above"] > 0.25 > row["below"]
    assert low.seals.empty
    assert low.chances.empty


def test_chances_of_seals_agree_with_a_known_rate(card: Scorecard) -> None:
    year = card.chances.set_index("months").loc[12]
    assert year["status"] == "not seen to miss"
    assert year["asked"] == pytest.approx(4 * 40, abs=4)
    assert year["expected"] == pytest.approx(year["asked"] * -np.expm1(-YEARLY))
    assert year["message"].startswith(f"Of {year['asked']} seals asked {year['happened']} failed")
    assert card.bands["asked"].sum() == card.chances["asked"].sum()


def test_origins_and_horizons_are_accounted_for(card: Scorecard) -> None:
    told = card.origins.set_index([card.origins["origin"].dt.year, "months"])["status"]
    assert told[(2019, 24)] == "ok"
    assert told[(2020, 24)] == "horizon not over"
    assert told[(2020, 12)] == "ok"
    assert len(card.origins) == 8


def test_overlapping_horizons_share_their_luck(card: Scorecard) -> None:
    """Two years ahead from each new year: two blocks, and too few to judge by."""
    row = _row(card, "failures", "all", 24)
    assert (row["forecasts"], row["origins"]) == (3, 3)
    assert row["verdict"] == "cannot tell yet"
    assert "2 times apart: too few to tell" in row["message"]
    exact = np.sqrt(row["observed"] * 4 / 6)  # six years of forecasts over four
    assert (row["ratio_high"] - row["ratio_low"]) / row["ratio"] > 2 * 1.5 / exact


def test_the_same_card_comes_twice_and_can_be_stored(study: Study) -> None:
    day = [pd.Timestamp("2020-12-31")]
    one, two = (scorecard(study, _even(), origins=day, horizons=[12], seed=3) for _ in range(2))
    pd.testing.assert_frame_equal(one.table, two.table)
    assert one.to_dict()["seed"] == 3
    assert "last year's usage" in one.summary()


# -- gaps, beginnings, jobs under way -------------------------------------------------------------


def test_where_records_are_missing_nothing_is_judged() -> None:
    fleet = fleet_of(
        [_pump(i) for i in range(6)],
        gaps=[("2019-03-01", "2019-05-31")],
        end="2021-12-31",
        work_orders=[
            seal_order(f"P-{100 + i}", f"{year}-0{i + 3}-15")
            for i in range(6)
            for year in (2016, 2018, 2020, 2021)
        ],
    )
    days = [pd.Timestamp("2018-12-31"), pd.Timestamp("2019-12-31")]
    card = scorecard(run_study(fleet), _even(), origins=days, horizons=[12])
    told = card.forecasts.query("by == 'all'").groupby(card.forecasts["origin"].dt.year)["status"]
    assert told.first().to_dict() == {2018: "records missing", 2019: "ok"}
    missing = card.forecasts[card.forecasts["status"] == "records missing"]
    assert missing["message"].str.contains("missing within the forecast's time").all()
    assert _row(card, "failures", "all", 12)["forecasts"] == 1


def test_days_without_a_record_behind_them_are_said(study: Study) -> None:
    days = [pd.Timestamp(d) for d in ("2010-06-30", "2015-06-30", "2016-03-31", "2020-12-31")]
    card = scorecard(study, _even(), origins=days, horizons=[12])
    told = card.origins.set_index("origin")
    assert told["status"].tolist() == ["no study", "no study", "ok", "ok"]
    assert "no seal position was in use by 2010-06-30" in told["message"].iloc[0]
    first = card.forecasts[card.forecasts["origin"] == days[2]]
    assert set(first["status"]) == {"too little record"}
    assert set(card.forecasts.loc[card.forecasts["origin"] == days[3], "status"]) == {"ok"}


def test_each_seal_meets_its_fate() -> None:
    after, until = pd.Timestamp("2020-12-31"), pd.Timestamp("2021-12-31")
    lives = pd.DataFrame(
        [
            ("A", "2018-01-01", "2021-05-31", "failed"),
            ("A", "2021-06-01", "2022-06-01", "failed"),
            ("B", "2018-01-01", "2021-07-01", "withdrawn"),
            ("C", "2018-01-01", "2022-06-01", "failed"),
            ("D", "2018-01-01", "2020-12-28", "failed"),
            ("E", "2018-01-01", "2020-12-31", "failed"),
        ],
        columns=["position_id", "entry", "exit", "end"],
    ).assign(entry=lambda t: pd.to_datetime(t["entry"]), exit=lambda t: pd.to_datetime(t["exit"]))
    seals = pd.DataFrame({"position_id": list("ABCDE")}).assign(life_id="", chance=0.36)
    got = fates(seals, lives, after, until).set_index("position_id")
    assert got["fate"].tolist() == ["failed", "taken out", "running", "out already", "out already"]
    assert got["happened"].tolist() == [True, False, False, False, False]
    # half a year of a year at an even hazard: 1 - 0.64 ** (182 / 365)
    assert got.loc["B", "chance"] == pytest.approx(1 - 0.64 ** (182 / 365))
    assert got.loc[["A", "C"], "chance"].tolist() == pytest.approx([0.36, 0.36])
    with pytest.raises(InputError, match="seal_chances: chance: must lie between 0 and 1"):
        fates(seals.assign(chance=1.2), lives, after, until)


def test_seals_pulled_in_good_order_leave_chances_right() -> None:
    """Asked up to the day they were pulled, at an even hazard: no lean comes of it."""
    rng = np.random.default_rng(8)
    n, after = 40_000, pd.Timestamp("2020-12-31")
    until = after + pd.Timedelta(days=1_000)
    fail, pull = rng.exponential(3_000, n), rng.exponential(5_000, n)
    lives = pd.DataFrame({"position_id": np.arange(n), "entry": after}).assign(
        exit=after + pd.to_timedelta(np.ceil(np.minimum(fail, pull)), unit="D"),
        end=np.where(fail < pull, "failed", "withdrawn"),
    )
    seals = lives[["position_id"]].assign(life_id="", chance=-np.expm1(-1 / 3))
    got = fates(seals, lives, after, until)
    assert got["chance"].sum() / got["happened"].sum() == pytest.approx(1.0, abs=0.03)


def test_an_end_that_nobody_named_counts_and_a_retired_pump_needs_no_seal() -> None:
    pumps = [
        {"tag": "P-1", "seal_end": end, "commissioned": "2015-01-31", "service_class": "OIL"}
        for end in ("DE", "NDE")
    ]
    gone = {"short_text": "Pump scrapped", "long_text": "Taken out of service for good"}
    fleet = fleet_of(
        [*pumps, _pump(1)],
        work_orders=[
            seal_order("P-1", "2018-05-05"),
            seal_order("P-101", "2018-06-06"),
            seal_order("P-101", "2019-06-06", **gone),
        ],
    )
    study = run_study(fleet)
    assert (study.removals.table["position_id"] == "").sum() == 1
    assert (study.removals.table["reason"] == "pump retired").sum() == 1
    events = events_of(study)
    asked = pd.DataFrame(
        [("seals needed", "service_class", "OIL"), ("seals needed", "all", "all")],
        columns=["kind", "by", "group"],
    )
    assert events.counts(asked, EARLY, events.last)[0].tolist() == [1, 2]


# -- words ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "blocks", "word"),
    [
        (0.02, 0.5, 5, "better than last year's usage"),
        (-0.5, -0.02, 5, "worse than last year's usage"),
        (-0.05, 0.08, 5, "no evidence"),
        (-0.05, 0.30, 5, "cannot tell yet"),
        (0.02, 0.5, 3, "cannot tell yet"),
        (np.nan, np.nan, 1, "cannot tell yet"),
    ],
)
def test_words_of_a_gain(low: float, high: float, blocks: int, word: str) -> None:
    skill = Skill((low + high) / 2, low, high, blocks, 0.9, 400, 1)
    assert skill_verdict(skill, "last year's usage") == word


def test_words_of_scores() -> None:
    row = pd.Series({"coverage_low": 0.91, "coverage_high": 1.0})
    words = [bias_word(lean, 0.9) for lean in (-1.7, -1.6, np.nan, 1.6, 1.7)]
    assert words == ["too high", *["not seen to lean"] * 3, "too low"]
    assert range_word(row, 0.9) == "too wide"
    assert range_word(row.replace({0.91: 0.5, 1.0: 0.8}), 0.9) == "too tight"


# -- bad input ------------------------------------------------------------------------------------


_GOOD = {"kind": "failures", "by": "site", "group": "Site", "months": 12}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"kind": "leaks"}, "forecast: kind: gave 'leaks', not one of failures, seals needed"),
        ({"months": 7}, "forecast: months: gave '7', not one of 12, 24"),
        ({"by": "colour"}, "forecast: by: gave 'colour', not one of all, site"),
        ({"group": "none"}, "forecast: group: no position stands in site 'none'"),
    ],
)
def test_a_forecast_that_breaks_its_contract_is_named(
    study: Study, change: dict[str, Any], says: str
) -> None:
    now, chance = events_of(study), np.array([[0.5, 0.5]])
    kept, _ = keep_contract(pd.DataFrame([_GOOD | {"more": 1}]), chance, [12, 24], now)
    assert kept.to_dict("records") == [_GOOD]
    with pytest.raises(InputError, match=says):
        keep_contract(pd.DataFrame([_GOOD | change]), chance, [12, 24], now)
    with pytest.raises(InputError, match="gave 1 rows, chances of shape"):
        keep_contract(pd.DataFrame([_GOOD]), chance[0], [12, 24], now)
    with pytest.raises(InputError, match="forecast: has no column by"):
        keep_contract(pd.DataFrame([_GOOD]).drop(columns="by"), chance, [12, 24], now)


def _refusing(study: Study, months: Sequence[int]) -> tuple[pd.DataFrame, np.ndarray]:
    raise InputError("too few failures", where="forecast")


@pytest.mark.parametrize(
    ("forecast", "more", "says"),
    [
        (_refusing, {}, "origins: no forecast could be made .*2019-12-31: forecast: too few"),
        (_even(), {"horizons": [0]}, "horizons: are .0.; give whole months"),
        (_even(), {"horizons": []}, "horizons: are"),
        (_even(), {"origins": [pd.Timestamp("2021-06-30")]}, "records end 2021-12-31"),
        (_even(), {"origins": None, "horizons": [120]}, "do not reach over two years"),
        (_even(), {"origins": [pd.Timestamp("2016-02-29")]}, "no forecast can be judged: less"),
    ],
)
def test_bad_input_is_named(study: Study, forecast: Any, more: dict[str, Any], says: str) -> None:
    asked: dict[str, Any] = {"origins": [pd.Timestamp("2019-12-31")], "horizons": [12]}
    with pytest.raises(InputError, match=says):
        scorecard(study, forecast, **(asked | more))
