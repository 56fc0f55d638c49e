"""Where did record X go? From a raw row to a figure, and back.

In: `Study`, a name. Out: the hops. Next: a person with a question.
"""

from __future__ import annotations

import re
from typing import Any

import pandas as pd

from seallife.errors import InputError
from seallife.leakage.words import WORD_SCALE
from seallife.register import match_tags
from seallife.schema import TABLES
from seallife.spares.itemtrace import item_hops
from seallife.study import Study

__all__ = ["trace_record"]

_SHOWN_ROWS = 12


def trace_record(study: Study, name: str) -> pd.DataFrame:
    """Which way did a record take, or which records stand behind a result?

    Parameters
    ----------
    study : Study
    name : str
        A record (``table:file:row``, or ``file:row``), a removal (``R12``), a life, a seal
        position, a tag as written anywhere, an order's number, a service class, a stock item, a
        site or unit, a month (``2024-05``), or the name of a check.

    Returns
    -------
    pandas.DataFrame
        One row a hop: step, what, name, text. Names can be traced in turn.

    Raises
    ------
    InputError
        Nothing of that name was read or built.

    Notes
    -----
    A record that is in no result ends at the finding that set it aside.
    """
    name = name.strip()
    hops: list[tuple[str, str, str]] = []
    removals, lives = study.removals.table, study.lives.table
    classes = study.classes.table
    if name.split(":")[0] in TABLES and name.count(":") >= 2:
        hops = _record(study, name)
    elif (removals["removal_id"] == name).any():
        hops = _removal(study, name)
    elif (lives["life_id"] == name).any():
        hops = _life(study, name)
    elif (classes["position_id"] == name).any():
        hops = _position(study, name)
    elif (classes["service_class"] == name).any():
        hops = _class(study, name)
    else:
        hops = _item(study, name) or _by_other_name(study, name)
    if not hops:
        raise InputError(
            f"nothing named '{name}' was read or built",
            where="trace",
            hint="give a record such as work_orders:FILE:ROW, an order's number, a removal such as "
            "R12, a tag, a position, a service class, a unit or a month such as 2024-05",
        )
    return pd.DataFrame(hops, columns=["what", "name", "text"])


def _record(study: Study, name: str) -> list[tuple[str, str, str]]:
    """Follow a raw row: its cells, what was said of it, and what it became."""
    table = study.fleet[name.split(":")[0]]
    row = table[table["record_id"] == name]
    if row.empty:
        return []
    cells = [
        f"{column} = {_shown(value)}"
        for column, value in zip(row.columns, row.iloc[0], strict=True)
        if column != "record_id" and not _blank(value)
    ]
    hops = [("record", name, "; ".join(cells))]
    corrections = study.fleet.overrides
    hops += [
        (
            "correction",
            f"overrides.csv row {c.row}",
            f"{c.message}{'' if c.used else ' (not used)'}",
        )
        for c in corrections[corrections["record_id"] == name].itertuples()
    ]
    findings = study.findings
    whole = (findings["record_id"] == name.split(":")[0]) & findings["set_aside"]
    found = findings[(findings["record_id"] == name) | whole]
    for f in found[found["check"] != "corrected by hand"].itertuples():
        ends = " (ends here)" if f.set_aside else ""
        action = f"; {f.action!s}" if f.action else ""
        hops.append(("finding", str(f.check), f"{f.message!s}{action}{ends}"))
    events = study.removals.table
    mine = events["record_ids"].str.split().map(lambda ids: name in ids)
    for removal in events.loc[mine.astype(bool), "removal_id"]:
        hops += _removal(study, str(removal))
    if name.startswith("positions:"):
        at = study.register.table
        for position in at.loc[at["record_id"] == name, "position_id"]:
            hops += _position(study, str(position))
    if name.startswith("run_hours:") and not found["set_aside"].any():
        hops.append(("clock", "run hours", "the reading is a node of its pump's run-hour clock"))
    at = study.changes.table
    for c in at[at["record_id"] == name].itertuples():
        text = f"epoch {c.epoch} of the position begins {_shown(c.begins)} ({c.what!s})"
        hops.append(("change", str(c.position_id), text))
    read = study.readings.table
    for r in read[read["record_id"] == name].itertuples():
        kept = f"kept out of trends: {r.doubt!s}" if r.doubt else f"of segment {r.segment!s}"
        hops.append(("reading", str(r.position_id), f"{_bounds(r)}; {r.at!s}; {kept}"))
        hops += _life(study, str(r.life_id)) if r.life_id else []
    if name.startswith("leak_limits:"):
        held = int((study.leakage.in_force.table["limit_row"] == name).sum())
        hops.append(("limit", "leakage", f"{held:,} readings are held against it"))
    if name.startswith("stores:"):
        for item in table.loc[table["record_id"] == name, "material_no"]:
            hops += _item(study, str(item))
    if name.startswith("outages:"):
        hops.append(("events", "reasons", "removals inside it may be read as planned in outage"))
    return hops


def _item(study: Study, name: str) -> list[tuple[str, str, str]]:
    """A stock item: its record, what to order and why, the seals that draw on it."""
    known = (study.fleet["stores"]["material_no"] == name).any()
    if not known or not study.spares.can_forecast:
        return []
    return item_hops(name, study.spares.sheet, study.spares.ahead.seals, _SHOWN_ROWS)


def _bounds(reading: Any) -> str:
    """Leakage between its bounds, in words."""
    unit = f" {reading.measured_in}"
    if reading.kind == "word":
        return WORD_SCALE[int(reading.low)]
    if reading.kind == "below":
        return f"below {reading.high:g}{unit}"
    if reading.kind == "above":
        return f"above {reading.low:g}{unit}"
    if reading.low < reading.high:
        return f"{reading.low:g} to {reading.high:g}{unit}"
    return f"{reading.low:g}{unit}"


def _removal(study: Study, name: str) -> list[tuple[str, str, str]]:
    """One removal: why, from which records, and which lives it ends and begins."""
    events, lives = study.removals.table, study.lives.table
    r = events[events["removal_id"] == name].iloc[0]
    where = r["position_id"] or f"pump {r['pump_key']}, end not named"
    hops = [
        (
            "removal",
            name,
            f"{where}: out {_shown(r['end'])} ({r['date_kind']}), back {_shown(r['back'])}; "
            f"{r['reason']} (evidence: {r['evidence'] or 'none'}; confidence "
            f"{r['confidence']:.2f}); damage {r['damage']}"
            f"{r['damage_evidence'] and ' (' + r['damage_evidence'] + ')'}, leak path "
            f"{r['leak_path']}; from {r['record_ids']}",
        ),
        (
            "history",
            f"{r['end']:%Y-%m}",
            f"counts in MTBR{' and MTBF' if _counts_as_failure(study, r['ended']) else ''} "
            f"of {r['site']} in {r['end']:%B %Y}",
        ),
    ]
    records = r["record_ids"].split()
    ended = lives[lives["removal_id"] == name]
    begun = lives[lives["start_record"].isin(records) & (lives["position_id"] == r["position_id"])]
    for life in ended["life_id"]:
        hops += _life(study, str(life))
    hops += [("next life", str(life), "began with this removal") for life in begun["life_id"]]
    return hops


def _life(study: Study, name: str) -> list[tuple[str, str, str]]:
    """One life: its dates, clocks and end, and the fit it is part of."""
    lives = study.lives.table
    v = lives[lives["life_id"] == name].iloc[0]
    age = (
        f"aged {v['entry_age_h']:,.0f} to {v['exit_age_h']:,.0f} run hours"
        if v["age_known"]
        else f"age not known, {v['hours']:,.0f} run hours on record"
    )
    hops = [
        (
            "life",
            name,
            f"{v['position_id']}: on record {_shown(v['entry'])} to {_shown(v['exit'])}, {age} "
            f"(hours from {v['hours_from']}); {v['end']}; begins with {v['start_record']}, ends "
            f"with {v['end_record'] or 'the records'}",
        )
    ]
    if v["age_known"]:
        text = (
            f"one of the lives behind the fit and the survival figure of {v['service_class']} "
            "(table lives, page 'How long seals last here')"
        )
    else:
        text = f"in no fit by age; its time at risk counts in the MTBF of {v['service_class']}"
    hops.append(("class", str(v["service_class"]), text))
    return hops


def _position(study: Study, name: str) -> list[tuple[str, str, str]]:
    """One position: class, time at risk, lives."""
    c = study.classes.table.set_index("position_id").loc[name]
    hops = [
        ("position", name, f"hours from {study.clock.source[name]}"),
        ("class", str(c["service_class"]), f"{c['why']}{'' if c['sure'] else ' (not sure)'}"),
    ]
    stretches = study.watched.stretches
    for s in stretches[stretches["position_id"] == name].itertuples():
        text = f"at risk {_shown(s.start)} to {_shown(s.end)} ({s.starts_with} to {s.ends_with})"
        hops.append(("observation", name, text))
    lives = study.lives.table
    hops += [
        ("life", str(v.life_id), f"{_shown(v.entry)} to {_shown(v.exit)}, {v.end}")
        for v in lives[lives["position_id"] == name].itertuples()
    ]
    return _over_a_limit(study, name) + hops


def _over_a_limit(study: Study, position: str) -> list[tuple[str, str, str]]:
    """Limits that the position is over by its last readings."""
    if not study.leakage.limited:
        return []
    table = study.leakage.exceedances.table
    found = table[(table["position_id"] == position) & (table["state"] == "open")]
    return [
        ("limit", str(r.reading), f"{r.verdict} ({r.kind} limit of {r.limit:g} {r.reading_unit})")
        for r in found.itertuples()
    ]


def _class(study: Study, name: str) -> list[tuple[str, str, str]]:
    """One service class: how many lives stand behind its figures, and the first of them."""
    lives = study.lives.table
    mine = lives[lives["service_class"] == name]
    fitted = mine[mine["age_known"]]
    hops = [
        (
            "class",
            name,
            f"{mine['position_id'].nunique()} positions with time at risk, {len(mine)} lives, "
            f"{len(fitted)} of known age in its fit, {(fitted['end'] == 'failed').sum()} failed",
        )
    ]
    for v in fitted.head(_SHOWN_ROWS).itertuples():
        records = " and ".join(str(r) for r in (v.start_record, v.end_record) if r)
        hops.append(("life", str(v.life_id), f"{v.end}; {records}"))
    if len(fitted) > _SHOWN_ROWS:
        left = len(fitted) - _SHOWN_ROWS
        hops.append(("life", "...", f"{left} more in the report's table lives"))
    return hops


def _by_other_name(study: Study, name: str) -> list[tuple[str, str, str]]:
    """Find what a person would call it by: file and row, order, tag, unit, month, check."""
    if not name:
        return []
    orders = study.fleet["work_orders"]
    ids = [
        t.loc[t["record_id"].str.endswith(f":{name}"), "record_id"]
        for t in study.fleet.tables.values()
    ]
    mine = pd.concat([*ids, orders.loc[orders["wo_no"] == name, "record_id"]])
    if len(mine):
        return [hop for record in mine for hop in _record(study, str(record))]
    events, positions = study.removals.table, study.register.table
    if re.fullmatch(r"\d{4}-\d{2}", name):
        return _removals(events[events["end"].dt.strftime("%Y-%m") == name], most=len(events))
    for column in ("site", "unit"):
        here = positions.loc[positions[column] == name, "position_id"]
        if len(here):
            text = f"{len(here)} seal positions"
            mine = events["pump_key"].isin(positions.loc[here.index, "pump_key"])
            return [(column, name, text), *_removals(events[mine])]
    pump = match_tags(pd.Series([name]), pd.Series([""]), study.register)["pump_key"].iloc[0]
    if pump:
        here = positions.loc[positions["pump_key"] == pump, "position_id"]
        blind = events[(events["pump_key"] == pump) & (events["position_id"] == "")]
        return [hop for p in here for hop in _position(study, str(p))] + _removals(blind)
    said = study.findings[study.findings["check"] == name]
    return _first_of(
        [("finding", str(f.record_id), str(f.message)) for f in said.itertuples()], "findings"
    )


def _removals(events: pd.DataFrame, most: int = _SHOWN_ROWS) -> list[tuple[str, str, str]]:
    """One line a removal: when, where and why."""
    hops = [
        (
            "removal",
            str(r.removal_id),
            f"{_shown(r.end)} {r.position_id or r.pump_key!s}: {r.reason!s}; from {r.record_ids!s}",
        )
        for r in events.itertuples()
    ]
    return _first_of(hops, "removals", most)


def _first_of(
    hops: list[tuple[str, str, str]], of: str, most: int = _SHOWN_ROWS
) -> list[tuple[str, str, str]]:
    """Show the first few, and say how many more there are."""
    left = len(hops) - most
    more = [("...", "", f"{left} more in the report's table {of}")] if left > 0 else []
    return hops[:most] + more


def _counts_as_failure(study: Study, ended: str) -> bool:
    return (study.settings.rules.unknown_reason if ended == "unknown" else ended) == "failed"


def _blank(value: object) -> bool:
    return value is None or value == "" or value != value  # NaN and NaT differ from themselves


def _shown(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    return "not known" if _blank(value) else str(value)
