"""What a site's code most likely means in our words.

In: a code column and what stands in it. Out: our word, with a confidence and why. The words stand
in ``code_words.toml``. Next: `seallife.intake.guess`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files

from seallife.intake.names import name_key
from seallife.schema import Column

__all__ = ["guess_code", "known_share"]


@lru_cache(maxsize=1)
def _words() -> dict[str, dict[str, tuple[str, str]]]:
    """Column -> key of a code -> (our word, confidence)."""
    raw = tomllib.loads((files("seallife.intake") / "code_words.toml").read_text("utf-8"))
    out: dict[str, dict[str, tuple[str, str]]] = {}
    for column, levels in raw.items():
        table = out.setdefault(column, {})
        for level in ("guess", "likely"):  # the surer one last, so that it stands
            for word, codes in levels.get(level, {}).items():
                table.update({_key(c): (word, level) for c in codes})
    return out


def _key(code: str) -> str:
    """Signs alone ("<", ">") are codes too."""
    return name_key(code) or code.strip()


def guess_code(column: Column, code: str) -> tuple[str, str, str]:
    """What does this code mean?

    Parameters
    ----------
    column : Column
        A code column with ``choices``.
    code : str
        As the site writes it.

    Returns
    -------
    word, confidence, evidence : str
        ``word`` is empty and ``confidence`` 'ask' where it cannot be told.

    Examples
    --------
    >>> from seallife.schema import TABLES
    >>> kinds = TABLES["work_orders"]["wo_type"]
    >>> [guess_code(kinds, c)[:2] for c in ("Vorbeugend", "PM01", "Z9")]
    [('planned', 'likely'), ('corrective', 'guess'), ('', 'ask')]
    """
    own = next((c for c in column.choices if c.casefold() == code.strip().casefold()), "")
    if own:
        return own, "sure", "our own word"
    word, level = _words().get(column.name, {}).get(_key(code), ("", "ask"))
    if word not in column.choices:
        return "", "ask", f"one of {', '.join(column.choices)}?"
    why = "says so" if level == "likely" else "is used so at many sites"
    return word, level, f"'{code}' {why}"


def known_share(column: Column, codes: Sequence[str]) -> float:
    """Which share of these codes has a meaning that can be told?"""
    return sum(bool(guess_code(column, c)[0]) for c in codes) / len(codes) if codes else 0.0
