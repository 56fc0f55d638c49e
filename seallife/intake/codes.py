"""Translate a site's code words to ours.

In: text cells of a code column. Out: our words, and what was not understood. Next:
`seallife.intake.typed`.
"""

from __future__ import annotations

import pandas as pd

from seallife.findings import make_findings
from seallife.schema import Column
from seallife.settings import Settings

__all__ = ["translate_codes"]

_DECIDING = ("seal_end", "wo_type")  # what they say decides figures


def translate_codes(
    text: pd.Series, column: Column, settings: Settings, ids: pd.Series
) -> tuple[pd.Series, list[pd.DataFrame]]:
    """What do a site's code words mean?

    Parameters
    ----------
    text : pandas.Series of str, shape (n,)
        Cells of one column.
    column : Column
        With the words it may hold; with none, any word stands.
    settings : Settings
        With ``[codes.COLUMN]``, the site's own words.
    ids : pandas.Series of str, shape (n,)
        Record of each cell.

    Returns
    -------
    words : pandas.Series of str
        '' where nothing was given or the word is not known.
    findings : list of pandas.DataFrame
        Each cell not understood; each word of a deciding column is asked about once.
    """
    site = {k.strip().casefold(): v for k, v in settings.codes.get(column.name, {}).items()}
    own = {c.casefold(): c for c in column.choices}
    table = {}
    for written in pd.unique(text):
        word = site.get(written.casefold(), written)
        table[written] = own.get(word.casefold(), None if word else "") if own else word
    words = text.map(table)
    bad = words.isna()
    none_of = f"none of {', '.join(column.choices)}; translate it under "
    none_of += f"[codes.{column.name}] in fleet.toml"
    findings = [
        make_findings(
            "unknown code",
            "doubt",
            ids[bad],
            f"'{{value}}' is {none_of}",
            column=column.name,
            value=text[bad],
            action="read as not given",
        )
    ]
    if column.name in _DECIDING:
        count = text[bad].value_counts(sort=False)
        first = text[bad].drop_duplicates()
        asked = [f"'{code}' stands in {count[code]:,} rows and is {none_of}" for code in first]
        findings.append(
            make_findings(
                "unknown code that decides figures",
                "ask",
                ids[first.index],
                asked,
                column=column.name,
                value=first,
                action="read as not given",
            )
        )
    return words.astype(object).where(~bad, ""), findings
