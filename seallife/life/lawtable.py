"""What do likelihoods, log scores and fit tests of several laws come to?

In: fits, scores and p-values of laws. Out: the tables of `LawChoice`. Next: `seallife.life.choose`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seallife.life.groups import Floats
from seallife.life.lawfits import LawFit
from seallife.life.laws import Law
from seallife.life.lifedata import LifeData
from seallife.life.result import worded_status

__all__ = ["compare_laws"]

_FEW = 20
_TOLD = 2.0  # log score over all lives, below which nothing is told
_TOO_FAR = 10.0
"""Log score over all lives that a true law does not lose by chance.

The ratio of another law's density to the true one has mean 1, so that it exceeds exp(10) less than
once in 20,000 sets of lives (Markov's inequality). A single life that a law holds next to
impossible makes the noise of its loss as large as the loss, and would else excuse it.
"""
_GOOD = ("best", "as good as the best")


def compare_laws(
    data: LifeData, laws: list[Law], fits: list[LawFit], rows: Floats, fit_p: Floats, level: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Table of groups, with their verdicts, and table of groups and laws.

    Parameters
    ----------
    data : LifeData
    laws : list of Law
    fits : list of LawFit
    rows : ndarray, shape (laws, n)
        Log score of each life kept out, NaN where a law was not fitted.
    fit_p : ndarray, shape (laws, g)
    level : float
    """
    figures = _figures(data, laws, fits, rows, level)
    words = _words(figures, fit_p, level)
    reasons = _reasons(words, figures, fits, laws, fit_p)
    return _groups_table(data, laws, words, figures), _laws_table(
        data, laws, fits, figures, fit_p, words, reasons
    )


def _figures(
    data: LifeData, laws: list[Law], fits: list[LawFit], rows: Floats, level: float
) -> dict[str, Any]:
    """Figures of each law in each group, shape (laws, g)."""
    from scipy.special import ndtri

    groups = data.groups
    r, n = data.count(data.failed), data.count()
    weight = np.ones(len(data.age)) if data.weight is None else data.weight
    count = np.array([len(law.parameters) for law in laws])[:, None]
    loglik = np.array([fit.loglik for fit in fits])
    room = r - count - 1
    with np.errstate(divide="ignore", invalid="ignore"):
        charge = np.where(room > 0, 2 * count * (count + 1) / room, np.nan)
        aicc = 2 * count - 2 * loglik + charge
        score = np.array([groups.sum(weight * row) for row in rows])
        score = np.where(np.isfinite(loglik), score, np.nan)
        filled = np.where(np.isfinite(score), score, -np.inf)
        best = np.argmax(filled, axis=0)
        ahead = rows[groups.spread(best), np.arange(len(weight))] - rows
        gap = np.array([groups.sum(weight * d) for d in ahead])
        each, mean = score / n, np.array([groups.spread(x) for x in gap / n])
        gap_se = np.sqrt([groups.sum(weight * d) for d in (ahead - mean) ** 2])
        noise = float(ndtri((1 + level) / 2)) * gap_se
        worse = (gap > np.maximum(noise, _TOLD)) | (gap > _TOO_FAR)
    scored = np.isfinite(score)
    gap, gap_se = np.where(scored, gap, np.nan), np.where(scored, gap_se, np.nan)
    low = np.where(np.isfinite(aicc), aicc, np.inf).min(axis=0, initial=np.inf)
    return {
        "parameters": np.broadcast_to(count, loglik.shape),
        "loglik": loglik,
        "aicc": aicc,
        "aicc_gap": aicc - np.where(np.isfinite(low), low, np.nan),
        "score": each,
        "score_gap": gap,
        "gap_se": gap_se,
        "leads": scored & (np.arange(len(laws))[:, None] == best),
        "worse": scored & worse,
        "noise": noise,
    }


def _words(figures: dict[str, Any], fit_p: Floats, level: float) -> NDArray[Any]:
    """Verdict on each law in each group."""
    fitted, scored = np.isfinite(figures["loglik"]), np.isfinite(figures["score"])
    misfits = fit_p <= (1 - level) / 2 + 1e-12
    cases = [~fitted, ~scored, misfits, figures["leads"], figures["worse"]]
    names = ["not fitted", "not scored", "does not fit", "best", "worse"]
    return np.select(cases, names, "as good as the best").astype(object)


def _reasons(
    words: NDArray[Any],
    figures: dict[str, Any],
    fits: list[LawFit],
    laws: list[Law],
    fit_p: Floats,
) -> NDArray[Any]:
    """Why, in a sentence for each law in each group."""
    gap, se, noise = figures["score_gap"], figures["gap_se"], figures["noise"]

    def reason(k: int, i: int) -> str:
        word = words[k, i]
        if word == "not fitted":
            return str(fits[k].why[i])
        if word == "not scored":
            return "without one fold too little is left to fit"
        if word == "does not fit":
            said = f"lives drawn from it seldom lie so far off (p = {fit_p[k, i]:.2g})"
        elif word == "best":
            said = "foretells best"
        elif word == "worse" and gap[k, i] > noise[k, i]:
            said = f"foretells worse by {gap[k, i]:.1f}, more than its noise {se[k, i]:.1f}"
        elif word == "worse":
            said = f"foretells worse by {gap[k, i]:.1f}: it holds some lives next to impossible"
        else:
            said = f"foretells worse by {gap[k, i]:.1f}, within noise {se[k, i]:.1f}"
        wall = _on_wall(laws[k], fits[k], i)
        return f"{said}; {', '.join(wall)} at the bound of what is tried" if wall else said

    out = np.empty(words.shape, dtype=object)
    for k in range(words.shape[0]):
        out[k] = [reason(k, i) for i in range(words.shape[1])]
    return out


def _on_wall(law: Law, fit: LawFit, group: int) -> list[str]:
    """Parameters on the wall of their box; the early mean is held there on purpose."""
    names = zip(law.parameters, fit.on_wall[group].tolist(), strict=True)
    return [_plain(name) for name, there in names if there and name != "log_early_mean"]


def _plain(name: str) -> str:
    """Name of a parameter on its own scale."""
    return name.removeprefix("log_").removeprefix("odds_").replace("_", " ")


def _laws_table(
    data: LifeData,
    laws: list[Law],
    fits: list[LawFit],
    figures: dict[str, Any],
    fit_p: Floats,
    words: NDArray[Any],
    reasons: NDArray[Any],
) -> pd.DataFrame:
    """One row per group and law."""
    g, names = len(data.groups), [law.name for law in laws]
    labels = np.empty(g, dtype=object)
    labels[:] = data.groups.label_list()
    told = [[_estimates(law, at) for at in fit.where] for law, fit in zip(laws, fits, strict=True)]
    shown = ("loglik", "aicc", "aicc_gap", "score", "score_gap", "gap_se")
    return pd.DataFrame(
        {
            "group": np.repeat(labels, len(laws)),
            "law": np.tile(np.array(names, dtype=object), g),
            "failures": np.repeat(data.counts()["failures"], len(laws)),
            "parameters": figures["parameters"].T.ravel(),
            "estimates": [told[k][i] for i in range(g) for k in range(len(laws))],
            **{name: figures[name].T.ravel() for name in shown},
            "fit_p": fit_p.T.ravel(),
            "verdict": words.T.ravel(),
            "reason": reasons.T.ravel(),
        }
    )


def _estimates(law: Law, at: Floats) -> str:
    """Parameters in words, on their own scales."""
    if not np.isfinite(at).all():
        return ""
    said = []
    for name, value in zip(law.parameters, at.tolist(), strict=True):
        if name == "log_odds_early":
            said.append(f"early share {1 / (1 + np.exp(-value)):.3g}")
        elif name.startswith("log_"):
            said.append(f"{_plain(name)} {np.exp(value):.4g}")
        else:
            said.append(f"{name} {value:.4g}")
    return ", ".join(said)


def _groups_table(
    data: LifeData, laws: list[Law], words: NDArray[Any], figures: dict[str, Any]
) -> pd.DataFrame:
    """One row per group: what its laws' rows come to."""
    good, names = np.isin(words, _GOOD), [law.name for law in laws]
    told = good | np.isin(words, ["worse", "does not fit"])
    aicc = np.where(np.isfinite(figures["aicc"]), figures["aicc"], np.inf)
    # the fewest parameters, and the lowest AICc among as few
    order = np.lexsort((aicc, figures["parameters"], ~good), axis=0)
    out: list[tuple[str, str, str, str]] = []
    for i, first in enumerate(order[0].tolist()):
        fit = [names[k] for k in np.flatnonzero(good[:, i])]
        simplest = names[first] if fit else ""
        if not told[:, i].any():
            out.append(("cannot tell yet", "", "", "No law could be fitted and scored."))
        elif not fit:
            why = "Every law that foretells well is refused by the fit test."
            out.append(("no law fits", "", "", why))
        elif len(fit) > 1:
            most = float(figures["score_gap"][good[:, i], i].max())
            within = f"within {most:.1f} in log score, inside its noise"
            why = f"{len(fit)} laws foretell alike ({within})."
            out.append(("cannot tell apart", ", ".join(fit), simplest, why))
        else:
            others = [f"{n} {w}" for n, w in zip(names, words[:, i], strict=True) if n != simplest]
            why = f"All others fall behind: {'; '.join(others)}."
            out.append((simplest, simplest, simplest, why))
    failures = data.count(data.failed)
    status, message = worded_status(
        len(out),
        [
            (data.count() == 0, "no lives", "No life with a known age in this group."),
            (failures == 0, "no failures", "No failure: no law can be told."),
            (
                failures < _FEW,
                "few failures",
                f"Fewer than {_FEW} failures: so few can hardly ever tell laws apart.",
            ),
        ],
    )
    labels: NDArray[Any] = np.empty(len(out), dtype=object)
    labels[:] = data.groups.label_list()
    columns = ("verdict", "candidates", "simplest", "reason")
    return pd.DataFrame(
        {
            "group": labels,
            **data.counts(),
            **{name: [row[k] for row in out] for k, name in enumerate(columns)},
            "status": status,
            "message": message,
        }
    )
