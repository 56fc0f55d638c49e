"""What can go wrong, each as one sentence: where, what, and the next step."""

from __future__ import annotations

import difflib
from collections.abc import Container, Iterable

__all__ = [
    "DataWarning",
    "FitWarning",
    "InputError",
    "SeallifeError",
    "SettingsError",
    "did_you_mean",
    "need_columns",
]


class SeallifeError(Exception):
    """Base of every error this package raises on purpose."""


class InputError(SeallifeError, ValueError):
    """An argument, file or table cannot be used.

    Parameters
    ----------
    what : str
        What is wrong, as a sentence without a full stop.
    where : str, optional
        Place of the fault: a file, a file and row, a column, an argument name.
    hint : str, optional
        The next step for the reader.
    """

    def __init__(self, what: str, *, where: str = "", hint: str = "") -> None:
        self.what, self.where, self.hint = what, where, hint
        sentence = f"{where}: {what}" if where else what
        super().__init__(f"{sentence}; {hint}" if hint else sentence)


class SettingsError(InputError):
    """The settings of a fleet (fleet.toml) cannot be used."""


class DataWarning(UserWarning):
    """Data were used, but something about them needs a person's eye."""


class FitWarning(UserWarning):
    """A model was fitted, but its result needs care."""


def need_columns(table: Container[str], names: Iterable[str], where: str, hint: str = "") -> None:
    """Refuse a table without a column it needs.

    Raises
    ------
    InputError
        Naming all columns that are missing.
    """
    missing = [name for name in names if name not in table]
    if missing:
        raise InputError(f"has no column {', '.join(missing)}", where=where, hint=hint)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return "; did you mean 'x'?" with the nearest known word; '' if none is near.

    Examples
    --------
    >>> did_you_mean("wo_typ", ["wo_type", "status"])
    "; did you mean 'wo_type'?"
    """
    near = difflib.get_close_matches(word, sorted(known), 1)
    return f"; did you mean '{near[0]}'?" if near else ""
