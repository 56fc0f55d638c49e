"""Work orders as they truly were written: seal removals and everything else on the pumps.

In: `TrueFleet`, the true register. Out: a list of `Order`. Next: `seallife.demo.defects`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import pandas as pd

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.leaks import ramped_lives
from seallife.demo.serials import life_serials
from seallife.demo.simulate import CAUSES, TrueFleet
from seallife.demo.tools import each
from seallife.demo.words import Writer

__all__ = ["OLD_SINGLE_SEAL", "OTHER_ORDERS", "Order", "day", "other_orders", "removal_orders"]

OTHER_ORDERS = {"seal word": 64, "support": 85, "inspection": 96, "returned": 22, "cancelled": 29}
OTHER_ORDERS["other"] = 1_900 - sum(OTHER_ORDERS.values())
"""Orders in which no shaft seal came out, by what they are."""

OLD_SINGLE_SEAL = "70400"
"""Stock item that fitted unit 400 until plan 53B came."""

_ASK = {"other pump part": "other_part", "planned by age": "planned_age", "upgrade": "upgrade"}
_ASK |= {"planned in outage": "outage", "pump retired": "retired"}
_CAUSE_CODE = {"infant": "INST", "random": "OPER", "age": "WEAR", "lot": "MATL"}


def day(days: float) -> date:
    """Calendar day of a day number."""
    return sc.SIMULATION_START + timedelta(days=int(days))


@dataclass(slots=True)
class Order:
    """One row of a work-order export, and what it truly is.

    The fields up to ``serial_in`` are the columns of ``work_orders`` (`seallife.schema`); the rest
    is truth and never leaves for the exports.
    """

    site: str
    tag: str
    filed: date
    seal_end: str = ""
    wo_no: str = ""
    date_raised: date | None = None
    malfunction_start: date | None = None
    work_start: date | None = None
    work_end: date | None = None
    closed: date | None = None
    wo_type: str = "corrective"
    priority: str = "3"
    status: str = "done"
    short_text: str = ""
    long_text: str = ""
    mode_code: str = ""
    cause_code: str = ""
    part: str = ""
    part_qty: float | None = None
    cost: float | None = None
    labour_h: float | None = None
    serial_out: str = ""
    serial_in: str = ""
    # Truth
    what: str = "other"
    lives: tuple[str, ...] = ()
    positions: tuple[str, ...] = ()
    reason: str = ""
    cause: str = ""
    end_date: date | None = None
    back_date: date | None = None
    language: str = "en"
    two_ended: bool = False
    defects: list[str] = field(default_factory=list)


def _recorded(site: str, when: date) -> bool:
    """Did this site keep records on that day?"""
    low, high = sc.WINDOWS[site]
    in_gap = site == sc.MERROWFEN and sc.GAP[0] <= when <= sc.GAP[1]
    return low <= when <= high and not in_gap


def _cut(order: Order) -> Order:
    """Take out what had not happened when the exports were drawn."""
    for column in ("work_start", "work_end", "closed"):
        value = getattr(order, column)
        if value is not None and value > sc.DATA_END:
            setattr(order, column, None)
    if order.work_end is None and order.status == "done":
        order.status = "open"
    return order


def _single(place: Any, when: date) -> bool:
    """Had this position one pair of faces on that day?"""
    return place.arrangement == "1" or (place.converted_d < 1e5 and day(place.converted_d) > when)


def _part(place: Any, draws: Draws, wrong_lot: bool, installed: date) -> str:
    """Main part drawn, as the store writes it; now and then with its lot."""
    kind = "SEAL CART" if "cartridge" in place.seal_type else "MECH SEAL"
    kind = "SEAL KIT" if draws.chance(0.2) else kind
    old = place.arrangement == "3" and _single(place, installed)
    pool = OLD_SINGLE_SEAL if old else place.pool
    text = f"{pool} {kind} {place.shaft_mm:.0f}MM {place.elastomer.upper()}"
    if wrong_lot:
        return f"{text} LOT {sc.LOT}"
    if installed.year in (2017, 2018, 2019, 2020) and draws.chance(0.35):
        return f"{text} LOT EL-{installed.year - 2000}-{draws.between(1, 30):02d}"
    return text


def _kinds(place: Any, when: date) -> set[str]:
    """What can be said of a seal: two pairs of faces, surveyed vapour, solids, hot."""
    kinds = set() if _single(place, when) else {"dual"}
    kinds |= {"voc"} if place.service_class in ("HC-FLASH", "CHEM", "HC-GEN") else set()
    kinds |= {"solids"} if place.service_class == "SLURRY" else set()
    return kinds | ({"hot"} if place.service_class == "HC-HOT" else set())


def _dates(order: Order, kind: str, draws: Draws) -> None:
    """Fill the dates of a removal order around the true end and return to service."""
    end, back = order.end_date, order.back_date
    assert end is not None
    assert back is not None
    order.work_start = order.date_raised = end
    if kind in ("failed", "early"):
        if draws.chance(0.7):
            order.malfunction_start = end
            order.work_start = end + timedelta(days=draws.between(0, (back - end).days - 1))
            late = draws.pick([0, 0, 0, 1])
            order.date_raised = min(end + timedelta(days=late), order.work_start)
    elif kind == "rising":
        order.date_raised = end - timedelta(days=draws.between(8, 30))
    elif kind == "other_part":
        order.date_raised = end - timedelta(days=draws.between(0, 9))
        if draws.chance(0.3):
            order.malfunction_start = order.date_raised = end
    else:
        order.date_raised = end - timedelta(days=draws.between(14, 150))
    order.work_end = back
    order.closed = back + timedelta(days=draws.between(2, 70))
    first_again = sc.GAP[1] + timedelta(days=1)
    if order.site == sc.MERROWFEN and sc.GAP[0] <= order.date_raised < first_again:
        order.date_raised = first_again  # written anew in the new system


def _codes(order: Order, place: Any, draws: Draws) -> None:
    """Failure codes: half the causes are known and right."""
    assert order.end_date is not None
    leak = {"2": "INL", "3": "ELU"}.get(place.arrangement, "ELP")
    leak = "ELP" if _single(place, order.end_date) else leak
    order.mode_code = draws.pick([leak, leak, leak, "UNK", ""])
    known = draws.chance(0.5)
    order.cause_code = _CAUSE_CODE[order.cause] if known else draws.pick(["", "UNK", "OTH"])


def _type(kind: str, draws: Draws) -> str:
    """Type under which such an order is booked when booked right."""
    if kind in ("failed", "early"):
        return "corrective"
    if kind == "other_part":
        return "corrective" if draws.chance(0.6) else "planned"
    if kind in ("upgrade", "retired"):
        return "project"
    return "corrective" if kind == "rising" and draws.chance(0.5) else "planned"


def removal_orders(fleet: TrueFleet, register: pd.DataFrame) -> list[Order]:
    """Which orders did the true removals leave behind, one a removal?

    Returns
    -------
    list of Order
        In the order of the lives; removals in the record gap left none.
    """
    draws, writer = Draws(fleet.seed, 4), Writer(Draws(fleet.seed, 5))
    serials = life_serials(fleet, register)
    ramped = ramped_lives(fleet)
    places = each(register)
    lives = each(fleet.lives)
    orders: list[Order] = []
    for i, life in enumerate(lives):
        end = day(life.end_d)
        place = places[life.position]
        if life.ending == "in service" or not _recorded(place.site, end):
            continue
        goes_on = i + 1 < len(lives) and lives[i + 1].position == life.position
        after = lives[i + 1] if goes_on else None
        back = max(day(life.back_d), end + timedelta(days=1))
        kind = _ASK.get(life.ending, "early" if life.ending == "infant" else "failed")
        if life.ending == "age" and draws.chance(0.45 if ramped[i] else 0.06):
            kind = "rising"
        found = "rising" if kind == "rising" else _ASK.get(life.ending, life.ending)
        language = writer.language(place.site)
        shown = f" {place.seal_end}" if place.two_ended and draws.chance(0.5) else ""
        partner = "A" if place.tag.endswith("B") else "B"
        slots = {"end": shown, "tag": place.tag, "other": partner}
        order = Order(place.site, place.tag, end, language=language, two_ended=place.two_ended)
        order.seal_end = place.seal_end if place.two_ended or draws.chance(0.5) else ""
        order.end_date, order.back_date = end, back
        order.short_text, order.long_text = writer.removal(
            language, kind, found, _kinds(place, end), slots
        )
        order.wo_type = _type(kind, draws)
        order.priority = draws.pick(["1", "2", "2", "3"]) if order.wo_type == "corrective" else "4"
        order.reason = life.ending
        if life.ending in CAUSES:
            order.reason = "pulled on rising leakage" if kind == "rising" else "seal failed"
            order.cause = life.ending
            _codes(order, place, draws)
        order.what = "removal"
        order.lives, order.positions = (f"{place.position_id}#{life.number}",), (place.position_id,)
        _dates(order, kind, draws)
        order.labour_h = float(draws.between(6, 40))
        order.cost = round(200 + 9_000 * draws.one() ** 2 + 80 * order.labour_h, 2)
        if after is not None and draws.chance(0.93):
            order.part, order.part_qty = _part(place, draws, bool(after.lot), back), 1.0
        if place.serial_known and draws.chance(0.92):
            order.serial_out = serials[i]
            order.serial_in = serials[i + 1] if after is not None else ""
        order.filed = order.date_raised or end
        orders.append(_cut(order))
    return orders


def other_orders(fleet: TrueFleet, register: pd.DataFrame, removals: list[Order]) -> list[Order]:
    """Which other orders were written for these pumps?"""
    draws, writer = Draws(fleet.seed, 6), Writer(Draws(fleet.seed, 7))
    pumps = each(register.drop_duplicates("tag"))
    # Some pumps never see a fitter: nothing at all is written for them.
    busy = {o.tag for o in removals}
    pumps = [p for p in pumps if p.tag in busy or draws.chance(0.3)]
    orders: list[Order] = []
    for what, count in OTHER_ORDERS.items():
        made = 0
        while made < count:
            place = draws.pick(pumps)
            low, high = (sc.day_number(d) for d in sc.WINDOWS[place.site])
            when = day(draws.between(low, high - 30))
            began = day(max(place.commissioned_d, 0))
            gone = (
                sc.DATA_END if place.retired_d > 1e5 else day(place.retired_d) - timedelta(days=40)
            )
            if not _recorded(place.site, when) or not began < when < gone:
                continue
            orders.append(_other(what, place, when, draws, writer))
            made += 1
    return orders


def _other(what: str, place: Any, when: date, draws: Draws, writer: Writer) -> Order:
    """One order of the kind ``what``, raised on the day ``when``."""
    language = writer.language(place.site) if what not in ("returned", "cancelled") else "en"
    ends = [" DE", " NDE"] if place.two_ended else [""]
    slots = {"end": draws.pick([*ends, ""]), "tag": place.tag, "other": "B"}
    order = Order(
        place.site, place.tag, when, what=what, language=language, two_ended=place.two_ended
    )
    order.date_raised = when
    order.short_text, order.long_text, part = writer.other(language, what.replace(" ", "_"), slots)
    kinds = {"corrective": 0.6, "planned": 0.4}
    if what == "inspection":
        kinds = {"inspection": 0.7, "corrective": 0.3}
    order.wo_type = draws.weighted(kinds)
    order.priority = draws.pick(["2", "3", "3", "4"])
    if what == "cancelled":
        order.status, order.labour_h, order.cost = "cancelled", 0.0, 0.0
        order.closed = when + timedelta(days=draws.between(1, 40))
        return order
    order.work_start = when + timedelta(days=draws.between(0, 6))
    order.work_end = order.work_start + timedelta(days=draws.pick([0, 0, 0, 1, 1, 2]))
    order.closed = order.work_end + timedelta(days=draws.between(2, 70))
    order.labour_h = float(draws.between(1, 12))
    order.cost = round(60 * order.labour_h + 400 * draws.one() ** 2, 2)
    if part and draws.chance(0.85):
        order.part, order.part_qty = part, 1.0
    if what == "returned":
        order.part = f"{place.pool} SEAL CART {place.shaft_mm:.0f}MM {place.elastomer.upper()}"
        order.part_qty = draws.pick([0.0, 0.0, -1.0])
        order.defects.append("stock issue reversed")
    return _cut(order)
