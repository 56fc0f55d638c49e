"""Pictures of results: a result in, a plotly Figure out; nothing is fitted, nothing is shown."""

from __future__ import annotations

__all__: list[str] = []
