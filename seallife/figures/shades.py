"""Shades of one hue for levels on a log scale, lighter to darker, and the key that tells them.

In: levels. Out: traces, notes and axes. Next: `seallife.figures.leakstrip`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from seallife.figures.style import label, log_ticks

__all__ = ["SCALE", "SHADES", "shade_key", "shade_span"]

SHADES = ("#dcebf7", "#93c3e4", "#2f86c1", "#0b4f8a", "#04203f")
"""Lighter to darker: the same order in grey, and the lightest still differs from a blank."""
SCALE = [[i / (len(SHADES) - 1), shade] for i, shade in enumerate(SHADES)]

_NEAR = 0.19  # share of the key's length below its end that has no room for a tick

Part = tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, Any]]


def shade_span(levels: pd.Series) -> tuple[tuple[float, float], bool]:
    """Logs of the levels between which shades run, and whether some lie above.

    A few cells far above all others must not leave one pale shade to the rest.
    """
    low, most = float(levels.min()), float(levels.max())
    high = max(float(levels.quantile(0.99)), 2 * low)
    return (float(np.log10(low)), float(np.log10(high))), most > high


def shade_key(span: tuple[float, float], cut: bool, title: str, x: list[float]) -> Part:
    """Shades with their levels, between two places of the page's width, on axes numbered 2."""
    steps = np.linspace(*span, 41)
    ticks = [t for t in log_ticks(*span) if np.log10(t) < span[1] - _NEAR * (span[1] - span[0])]
    shades = {
        "type": "heatmap",
        "name": "shades",
        "x": steps.round(4).tolist(),
        "y": [0],
        "z": [steps.round(4).tolist()],
        "colorscale": SCALE,
        "showscale": False,
        "hoverinfo": "skip",
        "xaxis": "x2",
        "yaxis": "y2",
    }
    bare = {"showgrid": False, "showline": False, "automargin": False, "fixedrange": True}
    end = float(f"{10 ** span[1]:.2g}")  # in two digits
    top = f"{'≥ ' if cut else ''}{end:,.10g}"
    layout = {
        "xaxis2": {
            **bare,
            "domain": x,
            "anchor": "y2",
            "range": list(span),
            "tickvals": [*np.log10(ticks).tolist(), span[1]],
            "ticktext": [*(f"{t:,.10g}" for t in ticks), top],
            "tickfont": {"size": 11},
            "tickangle": 0,
        },
        "yaxis2": {**bare, "anchor": "x2", "showticklabels": False, "ticks": ""},
    }
    place = {"xref": "x2 domain", "yref": "y2 domain", "yanchor": "bottom"}
    note = label(title, 0, 1, xanchor="left", **place)
    return [shades], [note], layout
