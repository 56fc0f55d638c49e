"""Were the forecasts right? Counts and chances held against what happened."""

from seallife.scoring.chances import ChanceScores, score_chances
from seallife.scoring.counts import CountScores, chances_of_draws, score_counts
from seallife.scoring.naive import constant_rate, last_years_usage
from seallife.scoring.skill import Skill, skill_over

__all__ = [
    "ChanceScores",
    "CountScores",
    "Skill",
    "chances_of_draws",
    "constant_rate",
    "last_years_usage",
    "score_chances",
    "score_counts",
    "skill_over",
]
