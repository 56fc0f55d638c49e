"""Is a renewed seal as good as new: known truth by simulation, words, bad input."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seallife.errors import InputError
from seallife.life import fit_renewal_effect, renewal_effect
from seallife.life.aft import WeibullLives, fit_scale
from seallife.life.frailty import _Shared, fit_shared
from seallife.study import Study


def renewals(
    seed: int,
    positions: int = 100,
    theta: float = 0.5,
    later: float = 1.0,
    rebuilt: float = 1.0,
    window: float = 6.0,
) -> pd.DataFrame:
    """Positions with a hidden rate, renewed on failure; ``later``, ``rebuilt`` are ratios."""
    rng = np.random.default_rng(seed)
    rows = []
    for p in range(positions):
        hidden = rng.gamma(1 / theta, theta) if theta else 1.0
        at, k = 0.0, 1
        while at < window:
            shop = k > 1 and rng.random() < 0.4
            life = 2 * (rng.exponential() / hidden) ** (1 / 1.5)
            life *= (later if k > 1 else 1.0) * (rebuilt if shop else 1.0)
            seen = min(life, window - at)
            rows.append((seen, life <= window - at, p, k, float(shop), "AB"[p % 2]))
            at, k = at + life, k + 1
    return pd.DataFrame(rows, columns=["age", "failed", "position", "order", "rebuilt", "kind"])


def effect(t: pd.DataFrame, *names: str, **more: object):
    asked = {n: t[n] for n in names}
    return renewal_effect(t["age"], t["failed"], t["position"], stratum=t["kind"], **asked, **more)


def test_slopes_of_the_shared_likelihood_are_right() -> None:
    t = renewals(1, positions=30)
    x = (t["order"] > 1).to_numpy(dtype=float)[:, None]
    lives = WeibullLives.of(t["age"].to_numpy(), t["failed"].to_numpy(), None, x)
    shared = _Shared(lives, t["position"].to_numpy())
    at = np.array([-0.3, 0.5, 0.1, -0.7])
    rise = [(shared(at + h)[0] - shared(at - h)[0]) / 2e-5 for h in 1e-5 * np.eye(4)]
    np.testing.assert_allclose(shared(at)[1], rise, rtol=1e-6)
    # as theta falls to 0 the likelihood is that of positions alike
    alone = fit_scale(lives)
    assert shared(np.append(alone.place, np.log(1e-7)))[0] == pytest.approx(alone.value, abs=1e-3)


def test_positions_alike_give_no_hidden_differences() -> None:
    thetas = []
    for seed in range(20):
        t = renewals(seed, theta=0.0)
        lives = WeibullLives.of(
            t["age"].to_numpy(), t["failed"].to_numpy(), None, np.zeros((len(t), 0))
        )
        thetas.append(fit_shared(lives, t["position"].to_numpy()).theta)
    assert np.mean(np.array(thetas) == 0) > 0.3
    assert max(thetas) < 0.3


def test_bad_positions_do_not_pass_for_an_effect_of_order() -> None:
    """No effect at all: the pooled ratio is off, the ratio holds 1 nine times in ten."""
    hits, pooled, logs = [], [], []
    for seed in range(60):
        t = renewals(seed)
        t = t[t["order"] <= 2]
        row = effect(t, "order").table.iloc[0]
        assert row["comparison"] == "second life against first"
        hits.append(row["low"] <= 1 <= row["high"])
        pooled.append(np.log(row["pooled"]))
        logs.append(np.log(row["ratio"]))
    assert abs(np.mean(hits) - 0.90) <= 3 * np.sqrt(0.09 / 60), np.mean(hits)
    assert abs(np.mean(logs)) <= 3.5 * np.std(logs) / np.sqrt(60)
    assert np.mean(pooled) < -3.5 * np.std(pooled) / np.sqrt(60)


def test_a_rebuild_that_shortens_life_is_found_and_its_interval_holds_the_truth() -> None:
    words, hits = [], []
    for seed in range(40):
        t = renewals(seed, positions=150, rebuilt=0.7)
        row = effect(t, "rebuilt").table.iloc[0]
        words.append(row["verdict"])
        hits.append(row["low"] <= 0.7 <= row["high"])
    assert words.count("shorter than new") >= 32
    assert "longer than new" not in words
    assert abs(np.mean(hits) - 0.90) <= 3 * np.sqrt(0.09 / 40), np.mean(hits)


def test_without_an_effect_the_words_are_cautious() -> None:
    words = [
        effect(renewals(seed, theta=0.3), "rebuilt").table["verdict"].iloc[0] for seed in range(40)
    ]
    wrong = sum(w in ("shorter than new", "longer than new") for w in words)
    assert wrong <= 10
    assert "as good as new" not in words


def test_cannot_tell_yet_says_how_many_failures_would() -> None:
    t = renewals(3, positions=25)
    row = effect(t, "rebuilt").table.iloc[0]
    assert row["verdict"] == "cannot tell yet"
    wide = np.log(row["high"] / row["low"]) / 2
    needed = row["failures"] * (wide / np.log(1.25)) ** 2
    assert row["more_failures"] == pytest.approx(needed - row["failures"], abs=1.0)
    assert f"{int(row['more_failures']):,} more failures" in row["message"]
    more = effect(
        pd.concat([t.assign(position=t["position"] + 100 * k) for k in range(60)]), "rebuilt"
    )
    assert more.table["verdict"].iloc[0] != "cannot tell yet"


def test_too_few_failures_give_no_ratio() -> None:
    t = renewals(4)
    t["rebuilt"] = np.where(np.arange(len(t)) < 3, 1.0, 0.0)
    row = effect(t, "rebuilt").table.iloc[0]
    assert (row["verdict"], row["status"]) == ("cannot tell yet", "too few failures")
    assert np.isnan(row["ratio"])
    t["rebuilt"] = np.nan
    row = effect(t, "rebuilt").table.iloc[0]
    assert row["message"] == "Nothing is known of this."


def test_rows_of_each_comparison_and_late_lives_do_not_count_for_order() -> None:
    t = renewals(5)
    late = np.where(t["order"] == 1, t["age"] / 2, 0.0)
    t["renewals"] = t["order"] - 1
    result = effect(t, "order", "rebuilt", "renewals", entry_age=late)
    assert result.table["comparison"].tolist() == [
        "rebuilt against new",
        "second life against first",
        "third or later life against first",
        "each further renewal on record, up to 3",
    ]
    assert result.table["n"].iloc[-1] == (t["order"] > 1).sum()
    shuffled = t.sample(frac=1, random_state=1)
    again = effect(shuffled, "order", "rebuilt", "renewals", entry_age=late[shuffled.index])
    np.testing.assert_allclose(again.table["ratio"], result.table["ratio"], rtol=1e-5)


def test_table_of_lives_counts_renewals_and_first_lives() -> None:
    t = renewals(6, positions=60)
    lives = pd.DataFrame(
        {
            "position_id": t["position"].astype(str),
            "entry": pd.Timestamp("2016-01-01") + pd.to_timedelta(t["order"], unit="D"),
            "start_kind": np.where(t["order"] == 1, "commissioned", "renewed"),
            "rebuild_no": np.where(t["order"] == 1, np.nan, t["rebuilt"]),
            "end": np.where(t["failed"], "failed", "in service"),
            "age_known": True,
            "service_class": t["kind"],
            "entry_age_h": 0.0,
            "exit_age_h": t["age"],
            "exit_low_h": np.nan,
        }
    )
    direct = effect(
        t.assign(rebuilt=lives["rebuild_no"], renewals=t["order"] - 1),
        "rebuilt",
        "order",
        "renewals",
    ).table
    for table in (lives, lives.sample(frac=1, random_state=2)):
        found = fit_renewal_effect(table).table
        np.testing.assert_allclose(found["ratio"], direct["ratio"], rtol=1e-5)
        assert found["n"].tolist() == direct["n"].tolist()
    # where earlier lives are not on record nobody knows which life is the first
    old = fit_renewal_effect(lives.assign(start_kind="renewed")).table
    assert old["n"].tolist()[1:3] == [0, 0]


def test_rebuilt_cartridges_of_the_demo_fleet(demo_study: Study) -> None:
    """Planted: failure rate 1.25 times as high, about 0.84 of the life at a shape of 1.3."""
    row = fit_renewal_effect(demo_study.lives.table)["rebuilt against new"]
    assert row["low"] < 0.84 < row["high"]
    assert row["rate_low"] < 1.25 < row["rate_high"]
    assert row["verdict"] == "shorter than new"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "nothing to compare"),
        ({"rebuilt": [2, 0, 1]}, "no count"),
        ({"order": [0, 1, 1]}, "no count"),
        ({"order": [1.5, 1, 1]}, "no count"),
        ({"renewals": ["a", "b", "c"]}, "not a number"),
        ({"rebuilt": [1, 0]}, "shape"),
        ({"rebuilt": [1, 0, 1], "margin": 2}, "ratio such as"),
        ({"rebuilt": [1, 0, 1], "level": 0}, "share"),
        ({"rebuilt": [1, 0, 1], "entry_age": [5, 0, 0]}, "below the age"),
    ],
)
def test_bad_input_gets_a_sentence(more, words) -> None:
    with pytest.raises(InputError, match=words):
        renewal_effect([1, 2, 3], [1, 1, 1], ["a", "b", "b"], **more)


def test_table_without_a_column_or_clock_is_refused() -> None:
    with pytest.raises(InputError, match="no column"):
        fit_renewal_effect(pd.DataFrame({"position_id": []}))
    with pytest.raises(InputError, match="run_h"):
        fit_renewal_effect(pd.DataFrame(), clock="weeks")  # type: ignore[arg-type]
