"""Pages of the plant summary: one module each, listed here in the order printed.

In: `Study`. Out: ``PAGES``. Next: `seallife.report.write`.

A new page is one more entry of the list.
"""

from __future__ import annotations

from seallife.report.exhibit import PageSpec
from seallife.report.pages import (
    caution,
    lasting,
    leakage,
    outage,
    spares,
    trend,
    trust,
    where,
    why,
    year,
)

__all__ = ["PAGES"]

PAGES: tuple[PageSpec, ...] = (
    PageSpec("year", "The year in one page", year.build),
    PageSpec("lasting", "How long seals last here", lasting.build),
    PageSpec("trend", "Are we getting better?", trend.build),
    PageSpec("where", "Where it hurts", where.build),
    PageSpec("why", "Why seals fail", why.build),
    PageSpec("leakage", "Leakage", leakage.build),
    PageSpec("spares", "Spares: what to order, and when", spares.build),
    PageSpec("outage", "What to renew, and when", outage.build),
    PageSpec("trust", "How far to trust this", trust.build),
    PageSpec("cautions", "Cautions", caution.build),
)
