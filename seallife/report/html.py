"""Pages as one self-contained HTML file that asks nothing of the network.

In: `Page` objects. Out: text of an HTML file. Next: `seallife.report.write`.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

import pandas as pd

from seallife.report.cautions import SHORT_CAUTION
from seallife.report.exhibit import Exhibit, Page, Points, Text
from seallife.report.format import date_text

__all__ = ["html_text", "render", "table_cells"]

_NUMBER = re.compile(r"[−–]?\d")
_WORDS_FOR_NUMBERS = re.compile(
    r"–$|more than|cannot tell|no |not seen|under |over |few failures|at bound|not converged|none"
)
_SHORT_TEXT, _LONG_TEXT, _LONG_NUMBER = 22, 34, 40


def html_text(name: str, span: str, made: dt.date, software: str, pages: Sequence[Page]) -> str:
    """Write pages as one HTML file.

    Parameters
    ----------
    name : str
        Name of the fleet.
    span : str
        From when to when its records run.
    made : date
        Printed as the day of the run.
    software : str
        What made it.
    pages : sequence of Page
    """
    from plotly.offline import get_plotlyjs

    templates = files("seallife.report") / "templates"
    return render(
        "report.html",
        name=name,
        span=span,
        made=date_text(made),
        software=software,
        pages=[_page(number, page) for number, page in enumerate(pages, start=1)],
        draw=_inline((templates / "report.js").read_text("utf-8")),
        plotly=_inline(get_plotlyjs()) if any(e.figure for p in pages for e in p.exhibits) else "",
    )


def render(template: str, **values: Any) -> str:
    """Fill a page template; style, caution and ``tie`` are there for all of them.

    Parameters
    ----------
    template : str
        File in ``templates``.
    **values
        What the template names; text is escaped, and a name left out is an error.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("seallife.report", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = files("seallife.report") / "templates" / "report.css"
    return environment.get_template(template).render(
        caution=SHORT_CAUTION.replace("\n", " "),
        style=_inline(style.read_text("utf-8")),
        tie=_tie,
        **values,
    )


def _tie(text: str) -> str:
    """Keep a number and its sign on one line."""
    return text.replace(" %", "\u00a0%").replace(") y", ")\u00a0y").replace(" d)", "\u00a0d)")


def _inline(text: str) -> Any:
    """Our own or plotly's code, marked as needing no escape."""
    from markupsafe import Markup

    return Markup(text)  # noqa: S704  (package files, never data)


def _page(number: int, page: Page) -> dict[str, Any]:
    """Page in the shape the template reads."""
    return {
        "number": number,
        "name": page.name,
        "title": page.title,
        "blocks": [_block(b) for b in page.blocks],
    }


def _block(block: Any) -> dict[str, Any]:
    if isinstance(block, Text):
        return {"kind": "text", "text": block.text, "strong": block.strong}
    if isinstance(block, Points):
        return {"kind": "points", "heading": block.heading, "items": block.items}
    return _exhibit(block)


def _exhibit(exhibit: Exhibit) -> dict[str, Any]:
    figure = exhibit.figure
    shown = exhibit.shown
    return {
        "kind": "exhibit",
        "name": exhibit.name,
        "title": exhibit.title,
        "caption": exhibit.caption,
        "alt": exhibit.alt or exhibit.title,
        "rests_on": exhibit.rests_on,
        "figure": _figure_json(figure) if figure is not None else "",
        "height": int(figure.layout.height) if figure is not None else 0,
        "wide": figure is not None and "xaxis2" in figure.layout,
        "table": table_cells(shown) if shown is not None and len(shown) else None,
        "empty": shown is not None and not len(shown),
    }


def _figure_json(figure: Any) -> Any:
    """Figure as JSON that no text inside can end: '<' never appears."""
    from plotly.io.json import to_json_plotly

    text = to_json_plotly(figure.to_plotly_json(), engine="json")
    return _inline(text.replace("<", "\\u003c").replace("\u2028", "\\u2028"))


def table_cells(shown: pd.DataFrame) -> dict[str, Any]:
    """Head, rows, and how each column is set, as templates read them."""
    text = shown.astype(str)
    kinds = [_column_kind(text.iloc[:, j].tolist()) for j in range(text.shape[1])]
    return {
        "heads": [str(c) for c in text.columns],
        "rows": text.to_numpy().tolist(),
        "kinds": ["" if j == 0 and k == "right" else k for j, k in enumerate(kinds)],
    }


def _column_kind(cells: list[str]) -> str:
    """'right' for numbers, 'word' for words kept on one line, 'long' for sentences."""
    given = [c for c in cells if c]
    numbers = any(_NUMBER.match(c) for c in given) and all(
        _NUMBER.match(c) or _WORDS_FOR_NUMBERS.match(c) for c in given
    )
    longest = max(map(len, given), default=0)
    if numbers and longest < _LONG_NUMBER:
        return "right"
    return "long" if longest >= _LONG_TEXT else "word" if longest < _SHORT_TEXT else ""
