"""Regressions and competing causes against R's survival, number by number.

`survival_reference.R` beside this file wrote `survival_reference.csv`: (b) R 4.2.2, survival 3.5-3.
The rules for made-up clusters and entry ages stand in both. Data and carriers: SOURCES.md.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from published.test_published_life import HERE, channing, data

from seallife import life
from seallife.life.aft import WeibullLives
from seallife.life.assumptions import Clock, trend_test
from seallife.life.factordata import read_factors
from seallife.life.frailty import fit_shared
from seallife.life.partial import RatedLives, fit_rate

TABLE = pd.read_csv(HERE / "survival_reference.csv")


def known(check: str, start: str = "") -> np.ndarray:
    """Values of a check whose quantities start so, in the order of the file."""
    rows = TABLE[(TABLE["check"] == check) & TABLE["quantity"].str.startswith(start)]
    assert len(rows), (check, start)
    return rows["value"].to_numpy()


def covariance(fit, kind: str) -> np.ndarray:
    """Covariance of the log ratios of one unit of each factor."""
    terms, spread = fit.design.terms, fit.spread
    skip = len(spread.model) - len(terms)
    scale = np.array([t.scale for t in terms])
    return getattr(spread, kind)[skip:, skip:] / np.outer(scale, scale)


def holds(fit, check: str, sign: float = 1.0) -> None:
    """Log ratios, standard errors and log-likelihoods of a fit are R's."""
    close = {"rtol": 2e-8, "atol": 1e-10}
    np.testing.assert_allclose(sign * fit.table["coef"], known(check, "coef"), **close)
    np.testing.assert_allclose(fit.table["se_model"], known(check, "se_model"), **close)
    assert fit.loglik == pytest.approx(known(check, "loglik")[0], rel=1e-10)
    assert fit.loglik_none == pytest.approx(known(check, "loglik none")[0], rel=1e-10)


def lung() -> pd.DataFrame:
    d = data("lung")
    row = np.arange(1, len(d) + 1)
    return d.assign(month=np.ceil(d["time"] / 30), cluster=row % 19, died=d["status"] == 2)


# --- failure rates ---------------------------------------------------------------------------


def test_lung_by_age_and_sex() -> None:
    d = lung()
    fit = life.fit_cox_factors(d["time"], d["died"], d[["age", "sex"]])
    holds(fit, "lung")
    assert fit.tests["chi2"][0] == pytest.approx(2 * np.diff(known("lung", "loglik"))[0] * -1)


def test_gehan_by_treatment() -> None:
    """Kalbfleisch & Prentice print 1.572 (0.412) for Efron's ties (c)."""
    d = data("gehan_leukaemia")
    fit = life.fit_cox_factors(d["time"], d["cens"], d[["treat"]])
    assert fit.table["against"].tolist() == ["6-MP"]
    holds(fit, "gehan")


@pytest.mark.parametrize("strata", [False, True])
def test_robust_errors_with_tied_failures(strata: bool) -> None:
    """Most failures share their month: score residuals must follow Efron's ties."""
    d = lung()
    assert d.loc[d["died"], "month"].duplicated().mean() > 0.7
    fit = life.fit_cox_factors(
        d["month"],
        d["died"],
        d[["age"] if strata else ["age", "sex"]],
        cluster=d["cluster"],
        stratum=d["sex"] if strata else None,
    )
    check = "lung ties clusters strata" if strata else "lung ties clusters"
    holds(fit, check)
    np.testing.assert_allclose(
        covariance(fit, "robust").ravel(), known(check, "robust"), rtol=1e-8, atol=1e-13
    )


def test_robust_errors_with_late_entry_and_ties() -> None:
    d = channing(1).pipe(lambda men: pd.concat([men, channing(2)])).sort_values("obs")
    cluster = np.arange(1, len(d) + 1) % 23
    fit = life.fit_cox_factors(
        d["age"], d["death"], d[["gender"]], entry_age=d["ageentry"], cluster=cluster
    )
    check = "channing late entry clusters"
    holds(fit, check)
    np.testing.assert_allclose(covariance(fit, "robust")[0], known(check, "robust"), rtol=1e-8)


def test_survival_of_both_sexes_with_late_entry() -> None:
    """R's survfit(ctype = 1): Breslow's baseline under coefficients with Efron's ties."""
    d = pd.concat([channing(1), channing(2)])
    d = d[d["age"] > 816]
    fit = life.fit_cox_factors(
        d["age"], d["death"], d[["gender"]], entry_age=np.maximum(d["ageentry"], 816)
    )
    check = "channing from 816"
    holds(fit, check)
    ages = [850.0, 900, 950, 1000, 1050, 1100]
    seen = fit.survival(ages, pd.DataFrame({"gender": [1, 2]}))
    np.testing.assert_allclose(seen["survival"], known(check, "survival"), rtol=1e-8)


def test_ratios_that_change_with_age() -> None:
    """Score test of Grambsch & Therneau as R's cox.zph; (a) km: its help page, 3 decimals."""
    d = data("ovarian")
    read = read_factors(
        d["futime"], d["fustat"], d[["age", "ecog.ps"]], None, None, None, None, 0.9, own_law=False
    )
    lives = RatedLives(read.age, read.entry, read.failed, read.design.x, read.stratum)
    top = fit_rate(lives)
    scores = lives.scores(top.place)
    clocks: tuple[tuple[str, Clock], ...] = (("km", "share failed"), ("log", "log age"))
    for how, clock in clocks:
        found = [trend_test(lives, top, read, c, scores, clock)[0] for c in ([0], [1], [0, 1])]
        np.testing.assert_allclose(found, known("ovarian zph", how), rtol=1e-7)


# --- lives that follow a Weibull law ---------------------------------------------------------


def intercepts(fit) -> np.ndarray:
    """Log scale of each stratum where all factors are 0."""
    coef = fit.table["coef"].to_numpy()
    return np.log(fit.baseline["scale"]).to_numpy() - coef @ fit.design.centre


def test_ovarian_lives() -> None:
    d = data("ovarian")
    fit = life.fit_weibull_factors(d["futime"], d["fustat"], d[["ecog.ps", "rx"]])
    check = "ovarian aft"
    np.testing.assert_allclose(fit.table["coef"], known(check, "coef")[1:], rtol=1e-8)
    np.testing.assert_allclose(intercepts(fit), known(check, "coef")[:1], rtol=1e-8)
    np.testing.assert_allclose(1 / fit.baseline["shape"], known(check, "sigma"), rtol=1e-8)
    np.testing.assert_allclose(fit.table["se_model"], known(check, "se_model")[1:], rtol=1e-7)
    assert fit.loglik == pytest.approx(known(check, "loglik")[0], rel=1e-10)
    assert fit.loglik_none == pytest.approx(known(check, "loglik none")[0], rel=1e-10)


def test_lung_lives_with_clusters() -> None:
    d, check = lung(), "lung aft clusters"
    fit = life.fit_weibull_factors(d["time"], d["died"], d[["age", "sex"]], cluster=d["cluster"])
    for column, name in (("coef", "coef"), ("se_model",) * 2, ("se_robust",) * 2):
        np.testing.assert_allclose(fit.table[column], known(check, name)[1:], rtol=1e-7)
    np.testing.assert_allclose(intercepts(fit), known(check, "coef")[:1], rtol=1e-8)


def test_lung_lives_with_a_law_for_each_sex() -> None:
    """R's strata() gives each a sigma; with sex as a factor too each has its scale as well."""
    d, check = lung(), "lung aft strata"
    fit = life.fit_weibull_factors(d["time"], d["died"], d[["age"]], stratum=d["sex"])
    scale, age, sex = known(check, "coef")
    assert fit.table["coef"][0] == pytest.approx(age, rel=1e-7)
    assert fit.table["se_model"][0] == pytest.approx(known(check, "se_model")[1], rel=1e-7)
    np.testing.assert_allclose(intercepts(fit), scale + sex * np.array([1, 2]), rtol=1e-8)
    np.testing.assert_allclose(1 / fit.baseline["shape"], known(check, "sigma"), rtol=1e-7)
    assert fit.loglik == pytest.approx(known(check, "loglik")[0], rel=1e-10)


# --- competing causes ------------------------------------------------------------------------


def test_incidence_with_late_entry() -> None:
    """R's multi-state survfit, whose errors leave out one life at a time; ours are the delta
    method's: the same to 1e-6 where all are watched from new (CR-01), within 1 % here."""
    d = data("shock_absorber")
    row = np.arange(1, len(d) + 1)
    cause = np.array(["", "1", "2"], dtype=object)[d["mode"]]
    entry = np.where(row % 3 == 0, 0.4 * d["distance_km"], 0.0)
    seen = life.cumulative_incidence(d["distance_km"], cause, entry_age=entry)
    ages = [6700.0, 9120, 12200, 14300, 20100, 20900, 22700, 27490]
    rows, check = seen.at(ages), "shock absorber late entry"
    for k in ("1", "2"):
        part = rows[rows["cause"] == k]
        np.testing.assert_allclose(part["incidence"], known(check, f"incidence {k}"), atol=1e-10)
        np.testing.assert_allclose(part["se"], known(check, f"se {k}"), rtol=0.01)
    both = rows.groupby("age")[["incidence"]].sum()["incidence"].to_numpy()
    np.testing.assert_allclose(both + rows["survival"].to_numpy()[: len(ages)], 1, atol=1e-12)


# --- positions that differ -------------------------------------------------------------------


@pytest.mark.parametrize("late", [0.0, 0.2])
def test_hidden_rates_of_patients(late: float) -> None:
    """Kidney catheters (McGilchrist & Aisbett 1991): R's integral over each hidden rate."""
    d = data("kidney_catheter")
    entry = np.where(d["id"] % 3 == 0, late * d["time"], 0.0)
    x = (d["sex"] == 2).to_numpy(dtype=float)[:, None]
    lives = WeibullLives.of(d["time"].to_numpy(float), d["status"].to_numpy(bool), entry, x)
    top = fit_shared(lives, d["id"].to_numpy() - 1)
    check = "kidney hidden late" if late else "kidney hidden"
    expected = known(check)
    assert top.found
    np.testing.assert_allclose(top.place, expected[:3], atol=2e-5)
    assert np.log(top.theta) == pytest.approx(expected[3], abs=1e-4)
    np.testing.assert_allclose(np.sqrt(np.diag(top.covariance)), expected[4:7], rtol=1e-3)
    assert top.value == pytest.approx(expected[7], abs=1e-7)
