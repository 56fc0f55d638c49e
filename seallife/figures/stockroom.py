"""What the store holds against what it must find, as a picture: a row a pool, orders on top.

In: `OrderAdvice`. Out: a figure. Next: `seallife.report`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from seallife.figures.panels import counted, only_words
from seallife.figures.rows import HALF, below, column, height_of, left_of, row_axis, spans
from seallife.figures.style import (
    GREY,
    INK,
    LEAD,
    draw,
    faint,
    label,
    line,
    plain,
    points,
)

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from seallife.spares.advice import OrderAdvice

__all__ = ["stock_figure"]

_UNDER, _TEXT = 66, 17  # px
_ACTIONS = ("order now", "order later", "enough")
_CORNER = {"xref": "paper", "yref": "paper", "xanchor": "left", "yanchor": "bottom"}


def stock_figure(advice: OrderAdvice, most: int = 30) -> Figure:
    """Draw what each pool needs until a new seal can come, and what it has; orders due on top.

    Parameters
    ----------
    advice : OrderAdvice
        Pools of which nothing can be told are counted in words.
    most : int
        Rows drawn; the others are counted in words.
    """
    table = advice.table
    told = table[table["action"].isin(_ACTIONS) & table["need"].notna()]
    others = _untold(table.drop(told.index))
    if told.empty:
        return only_words("<br>".join(["No stock can be judged.", *others]))
    ranked = _ranked(told)
    rows = ranked.head(max(most, 1)).reset_index(drop=True)
    at = np.arange(len(rows), dtype=float)
    names = [plain(name) for name in rows["pool"]]
    low, need, high, held, coming, wanted = (
        rows[c].to_numpy(dtype=float)
        for c in ("need_low", "need", "need_high", "on_hand", "on_order", "level")
    )
    why = [plain(text, 400) for text in rows["why"]]
    hover = [f"{name}: {text}" for name, text in zip(names, why, strict=True)]
    style: dict[str, Any] = {"hovertemplate": "%{customdata}<extra></extra>"}
    more = np.flatnonzero(coming > 0)
    tick: dict[str, Any] = {"symbol": "line-ns", "hoverinfo": "skip"}
    bars = spans(np.maximum(low - HALF, 0), high + HALF, at)
    traces = [
        line(*bars, "need", width=13, colour=faint(LEAD, 0.35), hoverinfo="skip"),
        points(need.tolist(), at.tolist(), "middle need", size=6.5, width=2.6, **tick),
        points(wanted.tolist(), at.tolist(), "level asked", colour=INK, size=9.5, width=1.6,
               **tick),
        points((held + coming)[more].tolist(), at[more].tolist(), "with what is on order",
               colour=INK, size=11, customdata=[hover[i] for i in more], **style),
        points(held.tolist(), at.tolist(), "on hand", colour=INK, fill=INK, size=8,
               customdata=hover, **style),
    ]  # fmt: skip
    clear = [f"{share:.0%}" for share in rows["no_shortage_before"]]
    foot = [_rest(ranked.iloc[len(rows) :]), *others]
    foot = [text for text in foot if text]
    left = left_of(names)
    key = (
        f"● on hand &nbsp; ○ and on order &nbsp; ▬ need, range at {advice.level:.0%}, "
        f'<span style="color:{LEAD}"><b>ı</b></span> its middle &nbsp; '
        f"│ enough in {advice.share:.0%} of futures"
    )
    notes = [
        label(key, 0, 1, xshift=8 - left, yshift=24, font={"size": 12, "color": GREY}, **_CORNER),
        *column("", [_due(row) for row in rows.to_dict(orient="records")], 10),
        *column("nobody<br>waits", clear, 184, align="right"),
        *below(foot, shift=-50, left=8 - left),
    ]
    top = float(max((high + HALF).max(), (held + coming).max(), wanted.max())) + 0.5
    layout = {
        "xaxis": {
            "title": {"text": "seals that the store must find before a new one can come"},
            "range": [-0.3 - 0.01 * top, top],
            "tick0": 0,
            **({"dtick": 1} if top < 10 else {"nticks": 8}),
        },
        "yaxis": row_axis(names) | {"ticklabelstandoff": 4},
        "margin": {"l": left, "r": 196, "t": 50, "b": _UNDER + _TEXT * len(foot) - 12},
    }
    height = height_of(len(rows), 50, _UNDER + _TEXT * len(foot) - 12)
    return draw([t for t in traces if len(t["x"])], layout, notes=notes, height=height,
                alt=_alt(ranked, others))  # fmt: skip


def _ranked(told: pd.DataFrame) -> pd.DataFrame:
    """Orders due first, the likeliest shortage before others; then by the days that are left."""
    return (
        told.assign(
            _action=told["action"].map({word: i for i, word in enumerate(_ACTIONS)}),
            _days=told["order_within_d"].fillna(np.inf),
        )
        .sort_values(["_action", "_days", "no_shortage_before", "pool"], kind="stable")
        .drop(columns=["_action", "_days"])
    )


def _due(row: dict[Any, Any]) -> str:
    """What is due of a pool."""
    if row["action"] == "order now":
        return f"<b>order {row['order']:.0f} now</b>"
    return f"order within {row['order_within_d']:.0f} d" if row["action"] != "enough" else "enough"


def _untold(table: pd.DataFrame) -> list[str]:
    """Pools that are not drawn, with why."""
    if table.empty:
        return []
    told = ", ".join(f"{n:,} {status}" for status, n in table["status"].value_counts().items())
    return [f"Cannot tell yet, and not drawn: {told}."]


def _rest(rest: pd.DataFrame) -> str:
    """Pools beyond the page; orders that are due are never left without a word."""
    if rest.empty:
        return ""
    due = int((rest["action"] == "order now").sum())
    return f"… and {counted(len(rest), 'pool', 'pools')} more" + (
        f", {due:,} of them to be ordered now" if due else ""
    )


def _alt(ranked: pd.DataFrame, others: list[str]) -> str:
    """The figure in words."""
    counts = ranked["action"].value_counts(sort=False)
    said = ", ".join(f"{n:,} {action}" for action, n in counts.items())
    first = "; ".join(
        f"{row['pool']}: {row['need_low']:.0f} to {row['need_high']:.0f} needed, "
        f"{row['on_hand']:.0f} on hand, {row['on_order']:.0f} on order"
        for row in ranked.head(8).to_dict(orient="records")
    )
    return " ".join([f"Stock against need until a new seal comes, {said}. {first}.", *others])
