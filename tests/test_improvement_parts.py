"""What verdicts on projects are made of: choice, time at risk, unchanged positions, ratios."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import improvement_study as made
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from seallife.changes import Changes
from seallife.errors import InputError
from seallife.findings import no_findings
from seallife.history.ageshape import age_shape, likeness_of
from seallife.history.changeratio import dispersion, more_needed, rate_ratio
from seallife.history.projects import Projects, read_projects
from seallife.history.projectspans import Fleetwide, ProjectSpans
from seallife.history.rates import compare_rates
from seallife.history.shrunk import shrunk_rates
from seallife.history.spans import Spans
from seallife.history.unchanged import Meanwhile, Side, lean, meanwhile
from seallife.life import exposure_table, fit_cox_factors

# --- the ratio -----------------------------------------------------------------------------------


def test_ratio_of_the_worked_example() -> None:
    """57 failures in 153 position-years, then 15 in 87: 0.46, exact 90 % limits 0.27 to 0.76,
    p 0.003 (worked for this package by the conditional binomial)."""
    exact = compare_rates((57, 15), (153.0, 87.0))
    assert [round(float(exact[k]), 2) for k in ("ratio", "low", "high")] == [0.46, 0.27, 0.76]
    got = rate_ratio((57, 15), (153.0, 87.0), draws=40_000)
    assert got.ratio == pytest.approx(exact["ratio"])
    assert exact["low"] < got.low < got.high < exact["high"], (
        "inside the exact ones, which are wide"
    )
    assert got.p == pytest.approx(0.004, abs=0.001)


def test_ratio_of_breast_cancer_and_fluoroscopy() -> None:
    """41 cases in 28,010 woman-years against 15 in 19,017 (Rothman & Greenland, Modern
    Epidemiology, from memory): ratio 1.86; limits as by the mid-P method, found here anew."""
    (n0, n1), (t0, t1) = (15, 41), (19_017.0, 28_010.0)

    def mid_p(ratio: float, upper: bool) -> float:
        share = ratio * t1 / (ratio * t1 + t0)
        at = stats.binom.pmf(n1, n0 + n1, share) / 2
        tail = stats.binom.cdf(n1 - 1, n0 + n1, share)
        return float((tail if upper else 1 - tail - 2 * at) + at - 0.025)

    limits = [optimize.brentq(mid_p, 0.2, 20, args=(upper,)) for upper in (False, True)]
    got = rate_ratio((n0, n1), (t0, t1), level=0.95, draws=200_000)
    assert got.ratio == pytest.approx(1.86, abs=0.005)
    np.testing.assert_allclose([got.low, got.high], limits, rtol=0.02)


def test_draws_agree_with_the_beta_law() -> None:
    got = rate_ratio((8, 5), (40.0, 30.0), draws=100_000)
    share = stats.beta(5.5, 8.5).ppf([0.05, 0.95])
    np.testing.assert_allclose([got.low, got.high], share / (1 - share) * 40 / 30, rtol=0.02)


def test_no_failure_on_a_side_leaves_that_end_open() -> None:
    none_after, none_before = rate_ratio((5, 0), (10, 10)), rate_ratio((0, 5), (10, 10))
    assert (none_after.ratio, none_after.low) == (0.0, 0.0)
    assert none_after.high < 1
    assert np.isnan(none_before.ratio)
    assert none_before.high == np.inf
    assert none_before.low > 1


@given(
    n=st.tuples(st.integers(0, 60), st.integers(0, 60)),
    t=st.tuples(st.floats(0.1, 1e3), st.floats(0.1, 1e3)),
    scatter=st.floats(1, 4),
)
def test_intervals_are_in_order_and_widen_with_scatter(
    n: tuple[int, int], t: tuple[float, float], scatter: float
) -> None:
    got, wide = rate_ratio(n, t), rate_ratio(n, t, dispersion=scatter)
    assert 0 <= got.low <= got.high
    assert 0 <= got.p <= 1
    if min(n):
        assert got.low < got.ratio < got.high
        assert np.log(wide.high / wide.low) >= np.log(got.high / got.low) * 0.95
    more = rate_ratio((n[0], n[1] + 1), t)
    assert more.high >= got.high
    turned = rate_ratio((n[1], n[0]), (t[1], t[0]))
    if min(n):
        assert turned.ratio == pytest.approx(1 / got.ratio)
        assert np.log(turned.low * got.high) == pytest.approx(0, abs=0.25)


@pytest.mark.parametrize(
    ("failures", "expected", "how"),
    [((-1, 2), (1.0, 1.0), {}), ((1, 2), (0.0, 1.0), {}), ((1, 2), (1.0, 1.0), {"draws": 5}),
     ((1, 2), (1.0, 1.0), {"level": 0.0})],
)  # fmt: skip
def test_ratio_refuses_what_is_no_count(failures: Any, expected: Any, how: Any) -> None:
    with pytest.raises(InputError):
        rate_ratio(failures, expected, **how)


def test_scatter_is_one_for_chance_and_more_where_positions_jump() -> None:
    rng = np.random.default_rng(4)
    n = 4_000
    own = rng.gamma(2.0, 0.5, n)  # positions that differ for good do not count
    due = np.full(n, 2.0)
    group = np.repeat([0, 1], n // 2)
    factor = np.where(group == 0, 0.5, 1.0)
    calm = dispersion(rng.poisson(own * due), rng.poisson(own * due * factor), (due, due), group)
    assert calm == pytest.approx(1.0, abs=0.06)
    jump = rng.gamma(2.0, 0.5, (2, n))
    wild = dispersion(
        rng.poisson(jump[0] * due), rng.poisson(jump[1] * due * factor), (due, due), group
    )
    assert wild > 1.3
    assert dispersion(np.ones(5), np.ones(5), (due[:5], due[:5]), group[:5]) == 1.0


def test_time_needed_is_the_time_that_tells_a_halved_rate_four_times_in_five() -> None:
    """Simulated: with that much more time, a halved rate shows about four times in five."""
    t0, t1, n0 = 150.0, 40.0, 60
    more = more_needed(n0, (t0, t1))
    assert 0 < more < 5
    rng = np.random.default_rng(8)
    after = t1 * (1 + more)
    shown = [
        rate_ratio((a, b), (t0, after), draws=400).high < 1
        for a, b in zip(rng.poisson(n0, 600), rng.poisson(0.5 * n0 / t0 * after, 600), strict=True)
    ]
    assert np.mean(shown) == pytest.approx(0.8, abs=0.06)
    assert more_needed(n0, (t0, 1_000.0)) == 0.0
    assert more_needed(0, (t0, t1)) == np.inf
    assert more_needed(n0, (t0, t1), variance=0.2) == np.inf


# --- positions shrunk to their class -------------------------------------------------------------


def test_pumps_shrink_to_their_common_rate() -> None:
    """Ten pumps (Gaver & O'Muircheartaigh 1987, Technometrics 29, from memory)."""
    time = np.array([94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5])
    failures = np.array([5.0, 1, 5, 14, 3, 19, 1, 1, 4, 22])
    got = shrunk_rates(failures, time, np.zeros(10, int))
    mean = failures.sum() / time.sum()

    def minus(k: float) -> float:
        return -float(stats.nbinom.logpmf(failures, k, k / (k + mean * time)).sum())

    best = optimize.minimize_scalar(minus, bounds=(0.1, 50), method="bounded").x
    assert got.likeness == pytest.approx(best, rel=0.1), "on a grid of steps of a sixth"
    raw = failures / time
    assert ((got.rate - raw) * (mean - raw) >= 0).all()
    assert (np.abs(got.rate - mean) <= np.abs(raw - mean)).all()
    k = got.likeness
    np.testing.assert_allclose(got.rate, (k + failures) / (k / mean + time))
    np.testing.assert_allclose(got.variance, (k + failures) / (k / mean + time) ** 2)


def test_like_positions_shrink_all_the_way() -> None:
    got = shrunk_rates(np.ones(40), np.full(40, 4.0), np.zeros(40, int))
    assert got.likeness == np.inf
    np.testing.assert_allclose(got.rate, 0.25)
    assert likeness_of(np.zeros(0), np.zeros(0)) == np.inf


# --- rates by age --------------------------------------------------------------------------------


def _spans(seed: int = 1, positions: int = 60, shape: float = 2.0, unlike: float = np.inf) -> Spans:
    """Seals of one class one after the other over ten years; hours of 12 a day."""
    rng = np.random.default_rng(seed)
    factor = rng.gamma(unlike, 1 / unlike, positions) if np.isfinite(unlike) else np.ones(positions)
    rows = []
    for i in range(positions):
        at = 0.0
        while at < 3_650:
            life = 1_500 * (rng.standard_exponential() / factor[i]) ** (1 / shape)
            rows.append((i, at, min(at + life, 3_650), at + life < 3_650))
            at += life + 2
    where, start, end, failed = (np.array(v) for v in zip(*rows, strict=True))
    n = len(where)
    return Spans(
        where, np.zeros(n, int), np.zeros(n, int), start, end, np.zeros(n), np.full(n, 12.0), failed
    )


def test_rates_are_failures_over_time_lived_as_by_exposure_table() -> None:
    spans = _spans()
    rates = age_shape(spans, 1)
    assert rates.likeness == np.inf
    edges = rates.edges[0][np.isfinite(rates.edges[0])]
    age = spans.days * spans.pace
    table = exposure_table(age, spans.failed, [*edges, age.max() + 1])
    rate = (table["failures"] + 0.5) / (
        table["exposure"] + 0.5 * table["exposure"].sum() / table["failures"].sum()
    )
    np.testing.assert_allclose(rates.rate[0, : len(edges)], rate)
    assert rates.rate[0, 0] < rates.rate[0, len(edges) - 1], "they grow with age"


def test_expected_failures_add_up_and_unknown_ages_have_their_own_rate() -> None:
    spans = _spans()
    blind = replace(spans, age=np.where(spans.position < 30, np.nan, spans.age))
    rates = age_shape(blind, 1)
    due, had = rates.expected(blind), blind.failed
    unknown = np.isnan(blind.age)
    assert due[unknown].sum() == pytest.approx(had[unknown].sum(), rel=0.03)
    assert due[~unknown].sum() == pytest.approx(had[~unknown].sum(), rel=0.05)
    halves = [
        rates.expected(blind.within(low, high)).sum() for low, high in ((-1, 1_000), (1_000, 9_999))
    ]
    assert sum(halves) == pytest.approx(due.sum())
    # the rate at an age is the slope of what is expected
    np.testing.assert_allclose(
        rates.at(np.zeros(2, int), np.array([100.0, np.nan])), [rates.rate[0, 0], rates.unknown[0]]
    )


def test_unlike_positions_do_not_make_rates_fall_with_age() -> None:
    """Constant rates that differ between positions: taken as alike they seem to fall with age."""
    spans = _spans(3, 400, 1.0, 1.0)
    rates = age_shape(spans, 1)
    assert rates.likeness == pytest.approx(1.0, rel=0.4)
    edges = rates.edges[0][np.isfinite(rates.edges[0])]
    alike = exposure_table(spans.days * 12, spans.failed, [*edges, 1e9])["rate"]
    assert alike.iloc[-1] / alike.iloc[0] < 0.5
    assert rates.rate[0, len(edges) - 1] / rates.rate[0, 0] == pytest.approx(1.0, abs=0.25)


@given(cut=st.floats(-10, 4_000))
def test_cutting_loses_no_time_and_no_failure(cut: float) -> None:
    spans = _spans(positions=8)
    parts = [spans.within(-1e9, cut), spans.within(cut, 1e9)]
    assert sum(p.days.sum() for p in parts) == pytest.approx(spans.days.sum())
    assert sum(p.failures for p in parts) == spans.failures
    both = parts[0].joined(parts[1])
    ends = both.age + both.days * both.pace
    assert ends.max() == pytest.approx((spans.age + spans.days * spans.pace).max())


# --- unchanged positions -------------------------------------------------------------------------


def test_unchanged_positions_stand_for_the_changed_failure_by_failure() -> None:
    """Three unchanged positions throughout, two changed at day 100 of 300: each failure of an
    unchanged one counts two thirds."""
    one = np.zeros(5, int)
    controls = Spans(
        np.array([0, 1, 1, 2, 2]), one, one,
        np.array([0.0, 0, 50, 0, 200]), np.array([300.0, 50, 300, 200, 300]),
        np.zeros(5), np.ones(5), np.array([False, True, False, True, False]),
    )  # fmt: skip
    two = np.zeros(2, int)
    changed = Spans(
        np.array([3, 4]), two, two, np.zeros(2), np.full(2, 300.0), np.zeros(2), np.ones(2),
        np.zeros(2, bool),
    )  # fmt: skip
    many = controls
    for _ in range(4):
        more = replace(controls, position=controls.position + 10)
        many = many.joined(more)
    got = meanwhile(changed.within(0, 100), changed.within(100, 300), many, None, own=True)
    assert got is not None
    assert got.before.expected == pytest.approx(5 * 2 / 15)
    assert got.after.expected == pytest.approx(5 * 2 / 15)
    assert (got.before.failures, got.after.failures) == (5, 5)
    assert got.log_change == pytest.approx(np.log(0.5)), "as many failures in twice the time"
    assert got.variance == pytest.approx(2 / 5)
    assert (
        meanwhile(changed.within(0, 100), changed.within(100, 300), controls, None, own=True)
        is None
    )
    late = many.within(90, 300)
    assert meanwhile(changed.within(0, 100), changed.within(100, 300), late, None, own=True) is None


def _change(value: float, variance: float) -> Meanwhile:
    side = Side(1.0, 1.0, 2 / variance, 5)
    return Meanwhile(side, side, value, variance)


def test_leaning_agrees_with_integration() -> None:
    """Posterior of the class's own change by brute force over the common change and the spread."""
    own, others = _change(0.6, 0.09), [_change(v, 0.05) for v in (-0.1, 0.2, 0.05, 0.3)]
    draws, share = lean(own, others, 200_000, np.random.default_rng(2))
    y = np.array([0.6, -0.1, 0.2, 0.05, 0.3])
    v = np.array([0.09, *[0.05] * 4])

    def weight(mu: float, tau: float) -> float:
        return float(
            np.prod(stats.norm.pdf(y, mu, np.sqrt(v + tau**2))) * np.exp(-((tau / 0.3) ** 2) / 2)
        )

    def mean(mu: float, tau: float) -> float:
        return (y[0] / v[0] + mu / tau**2) / (1 / v[0] + 1 / tau**2)

    box = ((-2, 2), (1e-4, 1.2))
    total = integrate.nquad(weight, box)[0]
    first = integrate.nquad(lambda mu, tau: weight(mu, tau) * mean(mu, tau), box)[0] / total
    assert draws.mean() == pytest.approx(first, abs=0.005)
    assert 0 < share < 0.6


def test_leaning_at_its_ends() -> None:
    rng = np.random.default_rng(1)
    nothing, share = lean(None, [], 500, rng)
    assert (nothing == 0).all()
    assert np.isnan(share)
    alone, share = lean(_change(0.4, 0.04), [], 20_000, rng)
    assert (alone.mean(), alone.std(), share) == pytest.approx((0.4, 0.2, 1.0), abs=0.01)
    without, share = lean(None, [_change(0.2, 0.01)] * 6, 20_000, rng)
    assert share == 0.0
    assert without.mean() == pytest.approx(0.2, abs=0.02)
    assert without.std() > 0.04, "another class may differ from those seen"
    far = [_change(v, 0.001) for v in (-1.0, 1.0, -0.8, 0.9)]
    own, share = lean(_change(0.5, 0.04), far, 20_000, rng)
    assert share > 0.8, "classes that differ lend little"
    assert own.mean() == pytest.approx(0.5, abs=0.1)


# --- how positions were chosen -------------------------------------------------------------------


def _projects(reason: str = "", date: str = "2020-02-10", **how: Any) -> Projects:
    rows = pd.DataFrame({"position_id": ["P-1", "P-2"], "date": pd.to_datetime([date] * 2)})
    table = rows.assign(
        what="seal",
        begins=rows["date"],
        epoch=2,
        removal_id="",
        new_seal=True,
        record_id=["a", "b"],
    )
    columns = {k: how.pop(k) for k in ("chosen_from", "chosen_to") if k in how}
    raw = pd.DataFrame({"record_id": ["a", "b"], "project": "X", "reason": reason, **columns})
    return read_projects(Changes(table, no_findings()), raw, **how)


@pytest.mark.parametrize(
    ("reason", "chosen", "start"),
    [
        ("ten worst positions by failures in 2018 and 2019", "by failures", "2018-01-01"),
        ("bad actors", "by failures", "2018-02-10"),
        ("repeat seal failures, budget 2020", "by failures", "2018-02-10"),
        ("most failures 2016", "by failures", "2016-01-01"),
        ("lowest MTBF in area 2000", "by failures", "2018-02-10"),
        ("all worst pumps", "by failures", "2018-02-10"),
        ("häufige Ausfälle", "by failures", "2018-02-10"),
        ("les pires pompes", "by failures", "2018-02-10"),
        ("all pumps of the section", "whole group", "2018-02-10"),
        ("alle Pumpen der Anlage", "whole group", "2018-02-10"),
        ("toutes les pompes", "whole group", "2018-02-10"),
        ("low vapour margin", "not said", "2018-02-10"),
        ("small hallway", "not said", "2018-02-10"),
        ("", "not said", "2018-02-10"),
    ],
)
def test_reason_tells_how_positions_were_chosen(reason: str, chosen: str, start: str) -> None:
    got = _projects(reason)
    assert got.table["chosen"].tolist() == [chosen]
    assert got.places["window_start"].tolist() == [pd.Timestamp(start)] * 2
    assert got.places["window_end"].tolist() == [pd.Timestamp("2020-02-10")] * 2


def test_windows_given_by_list_or_caller() -> None:
    listed = _projects("bad actors", chosen_from=pd.Timestamp("2019-01-01"))
    assert listed.table["chosen"].tolist() == ["given"]
    assert listed.places["window_start"].tolist() == [pd.Timestamp("2019-01-01")] * 2
    whole = _projects(chosen_from=pd.Timestamp("2017-01-01"), chosen_to=pd.Timestamp("2018-12-31"))
    assert whole.places["window_end"].tolist() == [pd.Timestamp("2019-01-01")] * 2
    asked = _projects("bad actors", selection={"X": ("2015-01-01", "2015-12-31")})
    assert asked.places["window_end"].tolist() == [pd.Timestamp("2016-01-01")] * 2
    late = _projects(selection={"X": ("2019-01-01", "2024-12-31")})
    assert late.places["window_end"].tolist() == [pd.Timestamp("2020-02-10")] * 2, "ends with it"
    none = _projects("bad actors", selection={"X": None})
    assert none.table["chosen"].tolist() == ["otherwise"]
    assert (none.places["window_start"] == none.places["window_end"]).all()
    short = _projects(selection_days=100)
    assert short.places["window_start"].tolist() == [pd.Timestamp("2019-11-02")] * 2


def test_list_without_names_is_refused() -> None:
    with pytest.raises(InputError, match="raw: has no column record_id"):
        read_projects(Changes(pd.DataFrame(), no_findings()), pd.DataFrame())


# --- against a second program --------------------------------------------------------------------


def _cox(data: dict[str, Any], spans: ProjectSpans, fleet: Fleetwide) -> pd.Series[Any]:
    """The same comparison by Cox regression with late entry, positions as clusters."""
    middle = spans.edges[1]
    free = fleet.spans.rows(fleet.never[fleet.spans.position])
    parts = [
        (spans.before, 1, 0),
        (spans.after, 1, 1),
        (free.within(-1e9, middle), 0, 0),
        (free.within(middle, 1e9), 0, 1),
    ]
    rows = pd.concat(
        [
            pd.DataFrame(
                {
                    "entry": s.age,
                    "age": s.age + s.days * s.pace,
                    "failed": s.failed,
                    "position": s.position,
                    "changed": float(changed),
                    "later": float(later),
                    "after": float(changed * later),
                }
            )
            for s, changed, later in parts
        ]
    ).dropna()
    got = fit_cox_factors(
        rows["age"], rows["failed"], rows[["changed", "later", "after"]],
        entry_age=rows["entry"], cluster=rows["position"],
    )  # fmt: skip
    return got.table.set_index("factor").loc["after"]


def test_ratio_at_equal_age_agrees_with_cox_regression() -> None:
    """One class, ages known: the two ratios differ by little, and are as wide."""
    scenario = next(s for s in made.SCENARIOS if s.name == "rate 0.7 times")
    apart, widths = [], []
    for seed in range(8):
        data = made.fleet(scenario, seed)
        classes = data["classes"].table
        ids = classes.loc[classes["service_class"] == "HC-FLASH", "position_id"]
        lives = data["lives"].table
        kept = lives["position_id"].isin(ids) & lives["age_known"]
        data["lives"] = replace(data["lives"], table=lives[kept].reset_index(drop=True))
        got = made.improvements_of(**data, selection={"Project": None})
        fleet = Fleetwide.of(
            data["lives"], data["changes"], data["watched"], data["classes"], "run_h"
        )
        places = read_projects(data["changes"], data["raw"], selection={"Project": None}).places
        cox = _cox(data, ProjectSpans.of(fleet, places, "otherwise"), fleet)
        row = got.table.iloc[0]
        apart.append(np.log(row["ratio"] / cox["ratio"]))
        widths.append(np.log(row["high"] / row["low"]) / np.log(cox["high"] / cox["low"]))
    assert np.abs(apart).max() < 0.35
    assert abs(np.mean(apart)) < 0.1
    assert np.mean(widths) == pytest.approx(1.0, abs=0.15)
