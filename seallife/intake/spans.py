"""Which order the dates of a file have, which site it is of, and from when to when it records.

In: `FileGuess`, one a file. Out: date order, site, record windows. Next: `seallife.intake.mapping`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import pandas as pd

from seallife.errors import InputError
from seallife.intake.dates import parse_dates
from seallife.intake.guess import FileGuess
from seallife.intake.names import name_key
from seallife.schema import TABLES
from seallife.sections import DateOrder

__all__ = ["Answer", "Span", "date_order", "find_sites", "find_spans"]

_SLOTS = re.compile(r"(\d{1,2})[./\- ]+(\d{1,2})[./\- ]+(?:\d{4}|\d{2})\b")
_BEGUN = ("work_start", "malfunction_start", "date", "date_raised", "reading_date")
_SPARSE = 0.25  # of the usual records a month: fewer are strays from before or after the records
_SILENCE_DAYS, _SILENCE_RATIO = 45, 10.0  # a rest this long is no chance where orders come daily


@dataclass(frozen=True)
class Answer:
    """A value, how sure it is and what it rests on; ``value`` empty where there is none."""

    value: str
    confidence: str
    evidence: str


@dataclass(frozen=True)
class Span:
    """From when to when a site has records: first and last day, and rests between."""

    site: str
    start: pd.Timestamp
    end: pd.Timestamp
    records: int
    gaps: tuple[tuple[pd.Timestamp, pd.Timestamp], ...] = ()


def date_order(guess: FileGuess) -> Answer:
    """Which order do the dates of this file have?

    Returns
    -------
    Answer
        Value of ``date_order``; confidence 'ask' where no column can tell, or where one holds
        both orders. Empty and 'sure' where the file has no dates, or each column tells alone.
    """
    day, month, unclear, iso = [], [], [], 0
    for column in guess.columns:
        if TABLES[guess.table][column.ours].kind != "date" or column.confidence == "ask":
            continue
        texts = [str(t) for t in pd.unique(guess.layout.cells[column.theirs])]
        iso += sum(bool(re.match(r"\d{4}(\D|\d{4}$)", t)) for t in texts)
        pairs = [(int(m[1]), int(m[2]), t) for t in texts if (m := _SLOTS.match(t))]
        days = [t for a, b, t in pairs if a > 12 >= b]
        months = [t for a, b, t in pairs if b > 12 >= a]
        both = [t for a, b, t in pairs if a <= 12 and b <= 12 and a != b]
        if days and months:
            mixed = f"'{column.theirs}' has '{days[0]}' and '{months[0]}'; split the file"
            return Answer("", "ask", f"day first or month first? {mixed}")
        if days:
            day.append((column.theirs, days[0]))
        elif months:
            month.append((column.theirs, months[0]))
        elif both:
            unclear.append((column.theirs, both[0]))
    if day and month:
        shown = f"'{day[0][0]}' has the day first, '{month[0][0]}' the month"
        if unclear:
            return Answer("", "ask", f"{shown}; and '{unclear[0][0]}' ('{unclear[0][1]}')?")
        return Answer("auto", "sure", f"each column tells: {shown}")
    if day or month:
        name, example = (day or month)[0]
        value = "day first" if day else "month first"
        if unclear:
            return Answer(value, "likely", f"'{name}' has '{example}'; '{unclear[0][0]}' fits both")
        return Answer(value, "sure", f"'{name}' has '{example}'")
    if unclear:
        name, example = unclear[0]
        return Answer("", "ask", f"day first or month first? '{name}' has '{example}'")
    return Answer("year first", "sure", f"{iso} dates begin with the year") if iso else Answer(
        "", "sure", ""
    )  # fmt: skip


def find_sites(guesses: Sequence[FileGuess]) -> dict[str, Answer]:
    """Which site is each file of, where no column says it?

    Returns
    -------
    dict
        Name of the layout -> site; left out where a column says it, or where it need not be known.
    """
    known = sorted({v for g in guesses if g.theirs("site") for v in _values(g, "site")})
    bare = [g for g in guesses if g.table and "site" in TABLES[g.table].names]
    bare = [g for g in bare if not g.theirs("site")]
    out: dict[str, Answer] = {}
    tags: dict[str, set[str]] = {}
    registers = [g for g in guesses if g.table == "positions"]
    for g in registers:
        if g in bare:
            out[g.layout.name] = _site_by_name(g, known, len(registers))
            site = out[g.layout.name].value
            if site:
                tags.setdefault(site, set()).update(map(name_key, _values(g, "tag")))
        else:
            pairs = g.layout.cells[[g.theirs("site"), g.theirs("tag")]].itertuples(index=False)
            for site, tag in pairs:
                tags.setdefault(str(site), set()).add(name_key(str(tag)))
    for g in bare:
        if g.table != "positions" and g.theirs("tag") and tags:
            answer = _site_by_tags(g, tags)
            if answer.value:
                out[g.layout.name] = answer
    return {name: a for name, a in out.items() if a.confidence}


def _values(guess: FileGuess, ours: str) -> tuple[str, ...]:
    return guess.contents[guess.theirs(ours)].values if guess.theirs(ours) else ()


def _site_by_name(guess: FileGuess, known: Sequence[str], registers: int) -> Answer:
    """Find a known site in the name of a register's file; ask where registers are several."""
    said = name_key(f"{guess.layout.path.stem} {guess.layout.sheet}")
    met = [
        (s, w)
        for s in known
        for w in re.findall(r"\w{4,}", s)
        if name_key(w) and name_key(w) in said
    ]
    if len({s for s, _ in met}) == 1:
        return Answer(met[0][0], "guess", f"the file's name holds '{met[0][1]}', a site's")
    if len(known) == 1:
        return Answer(known[0], "guess", "the only site named in any file")
    if registers > 1 or known:
        of = f"one of {', '.join(known)}?" if known else "no file names a site"
        return Answer("", "ask", f"which site is this file of? {of}")
    return Answer("", "", "")


def _site_by_tags(guess: FileGuess, tags: Mapping[str, set[str]]) -> Answer:
    """Take the site whose register alone has the tags of this file."""
    seen = [name_key(t) for t in _values(guess, "tag")]
    shares = sorted(((sum(t in own for t in seen) / len(seen), s) for s, own in tags.items()))
    share, site = shares[-1]
    rival = shares[-2][0] if len(shares) > 1 else 0.0
    if share >= 0.4 and rival <= 0.05:
        return Answer(
            site, "likely", f"{share:.0%} of its tags stand in that site's register alone"
        )
    return Answer("", "", "")


def find_spans(
    guesses: Sequence[FileGuess], orders: Mapping[str, Answer], sites: Mapping[str, Answer]
) -> tuple[list[Span], pd.Timestamp | None]:
    """From when to when does each site have records of orders, and until when has the fleet any?

    Returns
    -------
    spans : list of Span
        One a site, from the work orders or removals; by site.
    data_end : Timestamp or None
        Last day with a record, strays left out.
    """
    by_site: dict[str, list[pd.Series]] = {}
    ends = []
    for g in guesses:
        name = next((g.theirs(c) for c in _BEGUN if g.table and g.theirs(c)), "")
        if g.table not in {"work_orders", "removals", "run_hours", "leak_readings"} or not name:
            continue
        order = orders[g.layout.name].value or "auto"
        try:
            days = parse_dates(g.layout.cells[name], cast(DateOrder, order)).dates
        except InputError:
            continue  # the order of its dates is asked for, and the window with it
        span = _span("", days)
        ends += [span.end] if span else []
        if g.table not in {"work_orders", "removals"}:
            continue
        if g.theirs("site"):
            for site, part in days.groupby(g.layout.cells[g.theirs("site")]):
                by_site.setdefault(str(site), []).append(part)
        elif g.layout.name in sites and sites[g.layout.name].value:
            by_site.setdefault(sites[g.layout.name].value, []).append(days)
    spans = [_span(site, pd.concat(parts)) for site, parts in sorted(by_site.items()) if site]
    return [s for s in spans if s], max(ends, default=None)


def _span(site: str, days: pd.Series) -> Span | None:
    """Leave out the thin months at both ends, then look for rests."""
    days = days.dropna().dt.normalize().sort_values()
    if days.empty:
        return None
    months = days.dt.to_period("M").value_counts().sort_index()
    busy = months[months >= _SPARSE * months.median()].index
    start = busy[0].to_timestamp()
    inside = days[(days >= start) & (days <= busy[-1].to_timestamp(how="end"))]
    steps = inside.diff().dt.days
    usual = max((inside.iloc[-1] - inside.iloc[0]).days / max(len(inside) - 1, 1), 0.5)
    rests = (steps >= _SILENCE_DAYS) & (steps >= _SILENCE_RATIO * usual)
    one = pd.Timedelta(days=1)
    gaps = [(inside.iloc[i - 1] + one, inside.iloc[i] - one) for i in rests.to_numpy().nonzero()[0]]
    return Span(site, start, inside.iloc[-1], len(inside), tuple(gaps))
