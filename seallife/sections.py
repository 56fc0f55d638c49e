"""Sections of ``fleet.toml``: what each may say, with what it is where nothing is said.

In: values as written. Out: `Window`, `Source`, `Rules`, `Costs`. Next: `seallife.settings`.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from seallife.errors import did_you_mean
from seallife.schema import TABLES

__all__ = ["Clock", "Costs", "DateOrder", "Rules", "Section", "Source", "Window", "cost_at"]

Clock = Literal["run hours", "calendar"]
DateOrder = Literal["auto", "year first", "day first", "month first"]
Money = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]


class Section(BaseModel):
    """Base of all settings: unknown names are refused, values cannot be changed later."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class Window(Section):
    """Where and when records were kept."""

    site: str
    """Site as written in the register."""
    start: date
    """First day with records."""
    end: date | None = None
    """Last day with records; the fleet's ``data_end`` where empty."""
    gaps: tuple[tuple[date, date], ...] = ()
    """Stretches without records, first and last day: exposure is cut there."""

    @model_validator(mode="after")
    def _in_order(self) -> Window:
        if self.end is not None and self.end < self.start:
            raise ValueError(f"window of {self.site} ends before it starts")
        if any(b < a for a, b in self.gaps):
            raise ValueError(f"a gap of {self.site} ends before it starts")
        return self


class Source(Section):
    """One or more files that hold one table in one layout."""

    table: str
    """Table of the schema these files fill."""
    files: tuple[str, ...] = Field(min_length=1)
    """File names or glob patterns relative to the fleet folder."""
    encoding: str = ""
    """Text encoding; found out where empty."""
    separator: str = Field(default="", max_length=1)
    """Column separator of CSV files; found out where empty."""
    decimal: Literal[".", ","] = "."
    """Decimal sign of numbers."""
    sheet: str = ""
    """Sheet of an XLSX file; the first where empty."""
    header_row: int = Field(default=1, ge=1)
    """Row that holds the column names, as a spreadsheet counts."""
    date_order: DateOrder = "auto"
    """Order of day, month and year; ``auto`` decides per column from the whole column."""
    days_from: Literal["1900", "1904"] = "1900"
    """Year from which day numbers in CSV files count; a workbook says so itself."""
    columns: Mapping[str, str] = {}
    """Our column name = the file's."""
    units: Mapping[str, str] = {}
    """Our column name = unit in the file; ours where empty."""
    constants: Mapping[str, str] = {}
    """Values for columns that the file does not have."""

    @field_validator("files", mode="before")
    @classmethod
    def _one_or_more(cls, files: object) -> object:
        """One file may be named without brackets."""
        return (files,) if isinstance(files, str) else files

    @model_validator(mode="after")
    def _known_names(self) -> Source:
        if self.table not in TABLES:
            raise ValueError(
                f"'{self.table}' is not a table{did_you_mean(self.table, TABLES)}; "
                f"tables are {', '.join(TABLES)}"
            )
        table = TABLES[self.table]
        for name in (*self.columns, *self.units, *self.constants):
            if name not in table.names:
                near = did_you_mean(name, table.names)
                raise ValueError(f"'{name}' is not a column of {self.table}{near}")
        for name in self.units:
            if table[name].unit in {"", "see unit"}:
                raise ValueError(f"'{name}' has no unit that could be converted")
        for name in self.constants:
            if name in self.columns:
                raise ValueError(f"'{name}' has a constant and a column; keep one of them")
        return self


class Rules(Section):
    """Choices that move numbers; each is printed in the report."""

    level: Annotated[float, Field(gt=0.5, lt=1)] = 0.90
    """Two-sided level of all intervals."""
    resamples: int = Field(default=400, ge=0)
    """Resamples a class with which the intervals of few failures are calibrated; 0 for none."""
    clock: Clock = "run hours"
    """Clock of the life models; positions without hours fall back to their duty share."""
    merge_gap_days: int = Field(default=3, ge=0)
    """Orders on one position that touch within this gap are one event."""
    early_days: int = Field(default=90, ge=1)
    """A failure within this many calendar days of installation counts as early."""
    look_ahead_days: int = Field(default=365, ge=1)
    """How far ahead the share still running is asked, in days, where no outage lies ahead."""
    unknown_reason: Literal["failed", "withdrawn"] = "failed"
    """How a removal of unknown reason ends a life; the report shows both."""
    lives_across_gaps: Literal["age unknown", "same seal"] = "age unknown"
    """What is assumed of the seal that runs after a gap in the records."""
    subtract_background: bool = True
    """Readings of leakage count less the local background that stands beside them."""
    false_alarms: float = Field(default=1.0, gt=0, le=20)
    """Stated rate of false alarms on rising leakage, per 100 position-months."""
    emission_family: Literal["", "petroleum pump", "SOCMI light liquid pump"] = ""
    """Correlation by which concentrations become yearly totals of all seals; none where empty."""
    target_mtbf_years: float | None = Field(default=None, gt=0)
    """MTBF [calendar years] to be reached over the twelve months before ``target_date``."""
    target_mtbr_years: float | None = Field(default=None, gt=0)
    """The same for MTBR."""
    target_date: date | None = None
    """Day by which; the next end of a calendar year where empty."""
    duty_running: Annotated[float, Field(gt=0, le=1)] = 0.90
    """Share of time run by a position called running, where nothing better is known."""
    duty_alternating: Annotated[float, Field(gt=0, le=1)] = 0.50
    """The same for one called alternating, and where the register says nothing."""
    duty_standby: Annotated[float, Field(gt=0, le=1)] = 0.15
    """The same for one called standby."""


class Costs(Section):
    """What work, failures and shortages cost, and what is asked of the stock.

    Amounts are in the currency of the prices in ``stores``. What is not given is not guessed: an
    answer that needs it says so.
    """

    currency: str = ""
    """Name of the currency of all prices and amounts, as it is to be printed."""
    planned_renewal: Money | None = None
    """One planned change of a seal: labour and access, without the seal."""
    failure_extra: Mapping[str, Money] | None = None
    """What a failure costs beyond that: one number, or one for each criticality of the register."""
    shortage_per_day: Mapping[str, Money] | None = None
    """One day of a position that waits for a seal: one number, or by criticality."""
    holding_share: Share = 0.20
    """Cost of one year in the store as a share of the price (common practice, no source)."""
    repair_share: Share | None = None
    """Cost of one repair as a share of the price of a new seal."""
    reject_share: Share = 0.20
    """Share of seals beyond repair, where ``stores`` gives none (common practice, 0.1 to 0.3)."""
    lead_time_cv: Annotated[float, Field(ge=0, le=3)] = 0.25
    """Spread of lead times: standard deviation over mean (common practice, no source)."""
    service: Annotated[float, Field(gt=0, lt=1)] = 0.95
    """Service asked of each stock item."""
    service_measure: Literal["no shortage", "fill rate"] = "no shortage"
    """What ``service`` means: months without shortage, or demand met from the shelf."""

    @field_validator("failure_extra", "shortage_per_day", mode="before")
    @classmethod
    def _one_or_by_criticality(cls, amount: object) -> object:
        """One number holds for every criticality."""
        if amount is None:
            return None
        if isinstance(amount, int | float) and not isinstance(amount, bool):
            return {"": amount}
        if not isinstance(amount, Mapping) or not amount:
            raise ValueError("should be a number, or one a criticality: { A = 900, B = 400 }")
        words = [_plain(word) for word in amount]
        twice = next((w for w in amount if words.count(_plain(w)) > 1), None)
        if twice is not None:
            raise ValueError(f"names the criticality '{twice}' twice")
        return amount


def cost_at(amounts: Mapping[str, float] | None, criticality: str) -> float:
    """What does it cost at a position of this criticality?

    Parameters
    ----------
    amounts : mapping of str to float, or None
        ``failure_extra`` or ``shortage_per_day`` of `Costs`; case and blanks make no difference.
    criticality : str
        As the register writes it.

    Returns
    -------
    float
        NaN where nothing is said.

    Examples
    --------
    >>> cost_at({"A": 900.0, "B": 400.0}, "b"), cost_at({"": 500.0}, "C"), cost_at(None, "A")
    (400.0, 500.0, nan)
    """
    said = {_plain(word): amount for word, amount in (amounts or {}).items()}
    return said.get(_plain(criticality), said.get("", float("nan")))


def _plain(word: object) -> str:
    return " ".join(str(word).split()).casefold()
