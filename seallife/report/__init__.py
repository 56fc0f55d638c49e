"""The plant summary: a study in, pages, a workbook and tables out.

`write_report` and its result load when first asked for, so that the cautions cost nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from seallife.report.cautions import CAUTIONS, SHORT_CAUTION

if TYPE_CHECKING:
    from seallife.report.write import Report, build_pages, write_report

__all__ = ["CAUTIONS", "SHORT_CAUTION", "Report", "build_pages", "write_report"]


def __getattr__(name: str) -> Any:
    """Load what needs tables and figures on first use."""
    if name in {"Report", "build_pages", "write_report"}:
        from seallife.report import write

        return getattr(write, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
