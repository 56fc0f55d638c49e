"""The page of cautions.

In: ``CAUTIONS``. Out: blocks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from seallife.report.cautions import CAUTIONS, SHORT_CAUTION
from seallife.report.exhibit import Block, Points, Text

if TYPE_CHECKING:
    from seallife.study import Study

__all__ = ["build"]


def build(study: Study) -> tuple[Block, ...]:
    """What must these pages never be taken for?"""
    return (
        Text(SHORT_CAUTION.replace("\n", " "), strong=True),
        *(Points(c.topic, (c.text,)) for c in CAUTIONS),
    )
