"""What can be said of forecasts in a few words, given their scores and the limits of them?

In: a row of scores. Out: words and a sentence. Next: `seallife.scorecard.card`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from seallife.scoring import Skill

__all__ = ["bias_word", "range_word", "sentence", "skill_verdict"]

_FEWEST = 4  # blocks: the limits of fewer cover too little
_WORTH = 0.1  # nats a forecast; what happened was given a tenth more chance


def skill_verdict(skill: Skill, rule: str) -> str:
    """Is a forecast better than a simple rule?

    Returns
    -------
    str
        'better than …', 'worse than …', 'no evidence' (a difference worth having would have shown)
        or 'cannot tell yet'.
    """
    if skill.blocks < _FEWEST:
        return "cannot tell yet"
    if skill.low > 0:
        return f"better than {rule}"
    if skill.high < 0:
        return f"worse than {rule}"
    return "no evidence" if max(skill.high, -skill.low) <= _WORTH else "cannot tell yet"


def bias_word(lean: float, level: float) -> str:
    """Were forecasts too low or too high on the whole, by more than chance and their own doubt?"""
    from scipy.special import ndtri

    if not abs(lean) > ndtri((1 + level) / 2):
        return "not seen to lean"
    return "too low" if lean > 0 else "too high"


def range_word(row: pd.Series[Any], level: float) -> str:
    """Did ranges hold what they say?"""
    if row["coverage_high"] < level:
        return "too tight"
    return "too wide" if row["coverage_low"] > level else "not seen to miss"


def sentence(row: pd.Series[Any], skill: Skill, verdict: str, level: float) -> str:
    """Say it all in one sentence or three."""
    ratio = "nothing was expected"
    if np.isfinite(row["ratio"]):
        ratio = (
            f"{row['observed']:,.0f} happened, {row['expected']:,.1f} were foretold, "
            f"{row['ratio']:.2f} times ({row['ratio_low']:.2f} to {row['ratio_high']:.2f})"
        )
    ranges = (
        f"{row['inside']:,.0f} of {row['forecasts']:,.0f} ranges of {level:.0%} held what "
        f"happened, {row['inside_due']:,.1f} should"
    )
    gain = f"{skill.gain:+.2f} nats a forecast".replace("-", "−")
    if skill.blocks < _FEWEST:
        few = f"{skill.blocks} time{'s' * (skill.blocks != 1)} apart"
        told = f"{gain} against last year's usage, from {few}: too few to tell"
    else:
        limits = f"{skill.low:+.2f} to {skill.high:+.2f}".replace("-", "−")
        told = f"{gain} against last year's usage ({limits}): {verdict}"
    return f"{ratio[0].upper()}{ratio[1:]}; {ranges}; {told}."
