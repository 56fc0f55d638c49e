"""How did all forecasts together come out, by what was forecast and how far ahead?

In: `Made` of each evening, fates of seals. Out: tables. Next: `seallife.scorecard.card`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from seallife.errors import InputError
from seallife.life.groups import Floats, Ints
from seallife.scorecard.made import RULES, Made
from seallife.scorecard.words import bias_word, range_word, sentence, skill_verdict
from seallife.scoring import ChanceScores, score_chances, score_counts, skill_over

__all__ = ["summed_chances", "summed_counts"]

_KEYS = ["kind", "by", "months"]
_MOST = 700.0  # nats: what was held impossible weighs no more in a gain


def summed_counts(
    made: Sequence[Made], level: float, seed: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Score all forecasts of counts, and those of simple rules beside them.

    Returns
    -------
    table, forecasts : DataFrame
        See `seallife.scorecard.card.Scorecard`.

    Raises
    ------
    InputError
        No forecast's time is wholly on record.
    """
    rows = pd.concat([m.rows for m in made], ignore_index=True)
    cells = np.concatenate([np.full(len(m.rows), m.chances["own"].shape[1]) for m in made])
    # The last chance stands for all that is more, so counts go no further than it.
    counted = np.minimum(rows["observed"].to_numpy(), cells - 1)
    chances = {name: _stacked([m.chances[name] for m in made]) for name in ("own", *RULES)}
    each = {name: score_counts(counted, p, level=level).each for name, p in chances.items()}
    forecasts = rows.assign(
        **{c: each["own"][c] for c in ("expected", "low", "high", "log_score")},
        **{f"log_score_{rule}": each[rule]["log_score"] for rule in RULES},
    )
    ok = (rows["status"] == "ok").to_numpy()
    if not ok.any():
        raise InputError(
            f"no forecast can be judged: {rows['message'].iloc[0]}",
            where="origins",
            hint="give others",
        )
    kept = forecasts[ok].reset_index(drop=True)
    code = kept.groupby(_KEYS, sort=False).ngroup().to_numpy()
    parts = [part for _, part in kept.groupby(code)]
    repeats = [_repeats(part) for part in parts]
    own = chances["own"][ok]
    scores = score_counts(counted[ok], own, code, repeats=repeats, level=level).table
    lines = [_line(part, scores.iloc[g], level, seed) for g, part in enumerate(parts)]
    table = pd.concat([kept.drop_duplicates(_KEYS)[_KEYS].reset_index(drop=True), scores], axis=1)
    table = table.drop(columns=["group", "message"]).join(pd.DataFrame(lines))
    return table, forecasts[_ORDER]


_ORDER = [
    *("origin", "until", "kind", "by", "group", "months", "observed", "new", "expected"),
    *("low", "high", "log_score", "log_score_usage", "log_score_rate", "status", "message"),
]


def _stacked(parts: Sequence[Floats]) -> Floats:
    """Put chances of different numbers of counts under each other."""
    widest = max(p.shape[1] for p in parts)
    return np.vstack([np.pad(p, ((0, 0), (0, widest - p.shape[1]))) for p in parts])


def _line(
    part: pd.DataFrame, scores: pd.Series, level: float, seed: int
) -> dict[str, float | int | str]:
    """Gains over simple rules, and words, for one kind, grouping and horizon."""
    own = np.minimum(part["log_score"], _MOST)
    block = _blocks(part["origin"], int(part["months"].iloc[0]))
    line: dict[str, float | int | str] = {"origins": part["origin"].nunique()}
    skills = {
        rule: skill_over(
            own, np.minimum(part[f"log_score_{rule}"], _MOST), block, level=level, seed=seed
        )
        for rule in RULES
    }
    for rule, skill in skills.items():
        line |= {
            f"gain_{rule}": skill.gain,
            f"gain_{rule}_low": skill.low,
            f"gain_{rule}_high": skill.high,
        }
    verdict, against_rate = (skill_verdict(skills[rule], RULES[rule]) for rule in RULES)
    return line | {
        "leaning": bias_word(scores["lean"], level),
        "ranges": range_word(scores, level),
        "verdict": verdict,
        "verdict_rate": against_rate,
        "message": sentence(scores, skills["usage"], verdict, level),
    }


def _repeats(part: pd.DataFrame) -> float:
    """How many forecasts cover a day that any of them covers, on average?"""
    times = part[["origin", "until"]].drop_duplicates().sort_values("origin")
    before = times["until"].shift().fillna(times["origin"])
    added = times["until"] - times["origin"].where(times["origin"] > before, before)
    return float((times["until"] - times["origin"]).sum() / added.sum())


def _blocks(origin: pd.Series, months: int) -> Ints:
    """Number of the block of each origin: a new one begins where the first's time is over."""
    block: dict[pd.Timestamp, int] = {}
    number, over = -1, pd.Timestamp.min
    for day in sorted(origin.unique()):
        if day >= over:
            number, over = number + 1, day + pd.DateOffset(months=months)
        block[day] = number
    return np.asarray(origin.map(block), dtype=np.int64)


def summed_chances(seals: pd.DataFrame, level: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Score the chances of seals by horizon.

    Returns
    -------
    bands, chances : DataFrame
        See `seallife.scorecard.card.Scorecard`; empty where no seal was asked.
    """
    bands, lines = [pd.DataFrame()], []
    if seals.empty:
        return bands[0], pd.DataFrame()
    for months, part in seals[seals["fate"] != "out already"].groupby("months"):
        got = score_chances(part["happened"], part["chance"], level=level)
        bands.append(got.table.assign(months=months))
        status = _chances_word(got, level)
        lines.append(
            {
                "months": months,
                **{c: getattr(got, c) for c in _SCORES},
                "status": status,
                "message": f"Of {got.asked:,} seals asked {got.happened:,} failed, "
                f"{got.expected:,.1f} were foretold: chances {_CHANCES[status]}.",
            }
        )
    return pd.concat(bands, ignore_index=True), pd.DataFrame(lines)


def _chances_word(got: ChanceScores, level: float) -> str:
    """Were chances wrong on the whole, or wrongly spread, by more than luck?"""
    word = bias_word(got.lean, level)
    if word != "not seen to lean":
        return word
    return "wrongly spread" if got.p < 1 - level else "not seen to miss"


_SCORES = (
    *("asked", "happened", "expected", "brier", "brier_of_share", "log_score", "lean", "z", "p"),
)
_CHANCES = {
    "too low": "were too low on the whole",
    "too high": "were too high on the whole",
    "wrongly spread": "were right on the whole, but too bold or too timid",
    "not seen to miss": "agree with what happened",
}
