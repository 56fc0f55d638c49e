"""How good were our forecasts? Those of earlier years held against what then happened."""

from seallife.scorecard.card import CountForecast, Scorecard, SealForecast, scorecard

__all__ = ["CountForecast", "Scorecard", "SealForecast", "scorecard"]
