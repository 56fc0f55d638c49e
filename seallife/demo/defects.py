"""Spoil the orders the way sites do, a fixed number of each fault.

In: a list of `Order`. Out: the spoilt list. Next: `seallife.demo.write`.

Each fault is one small function; each touched row carries the fault's name, so that the ledger of
the truth can say what was done to it. Rows lose nothing that the ledger does not know.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date, timedelta

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.extras import EXTRA_ROWS, second_orders, stray_orders
from seallife.demo.orders import Order
from seallife.demo.tags import mistype, other_format
from seallife.demo.words import Writer

__all__ = ["ORDER_DEFECTS", "plant"]

ORDER_DEFECTS: dict[str, int] = {
    **EXTRA_ROWS,
    "exact duplicate": 38,
    "tag format": 210,
    "tag typo": 31,
    "end missing on two-ended pump": 44,
    "both ends in one order": 26,
    "parent tag only": 23,
    "planned coded corrective": 57,
    "corrective coded planned": 33,
    "useless text": 112,
    "cause defaulted to wear": 240,
    "closed date only": 48,
    "closed in a batch": 60,
    "month-only dates": 75,
    "end before start": 12,
    "impossible date": 9,
    "serials swapped between A and B": 14,
    "seal type changed": 11,
}
"""Fault -> how many rows (pairs of rows for swapped serials) have it.

Fewer where a fleet of another seed has not as many rows that could.
"""

_DATES = ("date_raised", "malfunction_start", "work_start", "work_end")


def _mark(orders: Iterable[Order], defect: str) -> None:
    for order in orders:
        order.defects.append(defect)


def _choose(
    orders: list[Order], defect: str, draws: Draws, fits: Callable[[Order], bool], count: int = 0
) -> list[Order]:
    """Pick and mark the rows for a fault among those that fit and are not spoilt alike yet."""
    fitting = [o for o in orders if fits(o)]
    chosen = draws.sample(fitting, min(count or ORDER_DEFECTS[defect], len(fitting)))
    _mark(chosen, defect)
    return chosen


def _clean(order: Order) -> bool:
    """Rows whose dates and tag nobody has touched."""
    return not order.defects


def _removal(order: Order) -> bool:
    return order.what == "removal" and order.reason != "pump retired"


def _failure(order: Order) -> bool:
    return _removal(order) and order.reason == "seal failed"


def plant(
    orders: list[Order],
    seed: int,
    tags: set[str],
    commissioned: dict[str, date],
    retired: dict[str, date],
) -> list[Order]:
    """What do the exports look like after years of real use?

    Parameters
    ----------
    orders : list of Order
        True orders; they are changed in place and become part of the result.
    tags : set of str
        All tags of the register: a mistyped tag stays nearest to its own.
    commissioned, retired : dict
        Tag -> first and last day of pumps that came or went within the records.

    Returns
    -------
    list of Order
        More rows than went in (duplicates, second orders), fewer where two removals share one.
    """
    draws, writer = Draws(seed, 11), Writer(Draws(seed, 12))
    orders = _both_ends(orders, draws)
    _swap_serials(orders, draws)
    _miscode(orders, draws, writer)
    _spoil_dates(orders, draws)
    _spoil_tags(orders, draws, tags)
    extra = second_orders(orders, draws, writer)
    extra += stray_orders(draws, writer, commissioned, retired)
    orders = sorted(orders + extra, key=lambda o: (o.site, o.filed, o.tag, o.short_text, o.lives))
    _number(orders, draws)
    return _duplicates(orders, draws)


def _both_ends(orders: list[Order], draws: Draws) -> list[Order]:
    """Both seals of a pump renewed in one job, booked as one order with two pieces."""
    name = "both ends in one order"
    twins: dict[tuple[str, date | None], list[Order]] = {}
    for order in orders:
        if order.two_ended and order.what == "removal" and order.status == "done":
            twins.setdefault((order.tag, order.end_date), []).append(order)
    pairs = [p for p in twins.values() if len(p) == 2 and all(o.reason == p[0].reason for o in p)]
    gone: set[int] = set()
    for first, second in draws.sample(pairs, min(ORDER_DEFECTS[name], len(pairs))):
        first.lives += second.lives
        first.positions += second.positions
        first.seal_end, first.part_qty = "", 2.0
        first.part = first.part or second.part
        first.work_end = max(d for d in (first.work_end, second.work_end) if d)
        first.back_date = first.work_end
        first.serial_out = first.serial_in = ""
        both = [" DE + NDE", " DE/NDE"]
        both += [" both ends", ", 2 seals"] if first.language == "en" else []
        first.short_text = re.sub(r" (DE|NDE)\b", "", first.short_text) + draws.pick(both)
        first.cost = round((first.cost or 0) + (second.cost or 0), 2)
        _mark([first], name)
        gone.add(id(second))
    return [o for o in orders if id(o) not in gone]


def _swap_serials(orders: list[Order], draws: Draws) -> None:
    """The serials of A and B taken down for each other."""
    name = "serials swapped between A and B"
    kept: dict[str, list[Order]] = {}
    for order in orders:
        if order.serial_out and not order.two_ended and not order.defects:
            kept.setdefault(order.tag[:-1], []).append(order)
    pairs = []
    for jobs in kept.values():
        a, b = ([o for o in jobs if o.tag.endswith(letter)] for letter in "AB")
        pairs += list(zip(a, b, strict=False))
    for first, second in draws.sample(pairs, min(ORDER_DEFECTS[name], len(pairs))):
        first.serial_out, second.serial_out = second.serial_out, first.serial_out
        _mark([first, second], name)


def _miscode(orders: list[Order], draws: Draws, writer: Writer) -> None:
    """Types, causes, texts and ends that say too little or the wrong thing."""
    for order in _choose(
        orders,
        "planned coded corrective",
        draws,
        lambda o: _removal(o) and o.wo_type == "planned" and o.reason != "pulled on rising leakage",
    ):
        order.wo_type = "corrective"
    for order in _choose(
        orders,
        "corrective coded planned",
        draws,
        lambda o: _failure(o) and o.wo_type == "corrective",
    ):
        order.wo_type = "planned"
    useless = _choose(orders, "useless text", draws, lambda o: _failure(o) and _clean(o), 95)
    useless += _choose(
        orders, "useless text", draws, lambda o: _removal(o) and not _failure(o) and _clean(o), 17
    )
    for order in useless:
        order.short_text, order.long_text = writer.useless(), ""
    for order in _choose(
        orders, "cause defaulted to wear", draws, lambda o: _failure(o) and o.cause != "age"
    ):
        order.cause_code = "WEAR"
    for order in _choose(
        orders,
        "end missing on two-ended pump",
        draws,
        lambda o: _removal(o) and o.two_ended and len(o.positions) == 1,
    ):
        order.seal_end = ""
    changed = _choose(
        orders,
        "seal type changed",
        draws,
        lambda o: (
            _failure(o)
            and o.site == sc.SKARROW
            and bool(o.part)
            and _clean(o)
            and o.status == "done"
        ),
    )
    for order in changed:
        order.part = f"{order.part} NEW TYPE"


def _spoil_dates(orders: list[Order], draws: Draws) -> None:
    """Dates missing, rounded, swapped or impossible."""

    def dated(order: Order) -> bool:
        spoilt = {"closed date only", "closed in a batch", "month-only dates", "end before start"}
        return order.status == "done" and not spoilt & set(order.defects)

    bare = _choose(orders, "closed date only", draws, lambda o: dated(o) and o.what == "other", 40)
    bare += _choose(orders, "closed date only", draws, lambda o: dated(o) and _failure(o), 8)
    for order in bare:
        order.date_raised = order.malfunction_start = order.work_start = order.work_end = None
    batch = date(2020, 12, 31)
    for order in _choose(
        orders,
        "closed in a batch",
        draws,
        lambda o: dated(o) and o.work_end is not None and date(2020, 6, 15) <= o.work_end <= batch,
    ):
        order.closed = batch
    for order in _choose(
        orders,
        "month-only dates",
        draws,
        lambda o: dated(o) and _removal(o) and o.site == sc.SKARROW and o.filed.year < 2019,
    ):
        for column in _DATES:
            value = getattr(order, column)
            setattr(order, column, value and value.replace(day=1))
    late = _choose(
        orders,
        "end before start",
        draws,
        lambda o: dated(o) and bool(o.work_start and o.work_end) and o.work_end > o.work_start,  # type: ignore[operator]
    )
    for i, order in enumerate(late):
        if i % 2:
            order.work_start, order.work_end = order.work_end, order.work_start
        else:
            assert order.work_end is not None
            order.work_end = order.work_end - timedelta(days=365)
    wrong = [date(1900, 1, 1), date(9999, 12, 31), date(2031, 5, 3)] * 3
    for bad, order in zip(wrong, _choose(orders, "impossible date", draws, dated), strict=True):
        order.work_end = bad


def _spoil_tags(orders: list[Order], draws: Draws, tags: set[str]) -> None:
    """Tags written another way, mistyped, or those of the pair or unit."""
    name = "parent tag only"
    parent = _choose(
        orders, name, draws, lambda o: _removal(o) and not o.two_ended and _clean(o), 12
    )
    parent += _choose(orders, name, draws, lambda o: o.what == "other" and _clean(o), 11)
    for i, order in enumerate(parent):
        if order.what == "removal" and i % 2 == 0:
            order.short_text = f"{order.short_text} ({order.tag})"
        order.tag = (
            order.tag[:-1]
            if i % 3
            else f"UNIT {order.tag[2:3]}00"
            if order.site == sc.SKARROW
            else "FGD AREA"
        )
    for order in _choose(orders, "tag format", draws, lambda o: name not in o.defects):
        order.tag = other_format(order.tag, order.site, draws)
    for order in _choose(
        orders, "tag typo", draws, lambda o: name not in o.defects and "tag format" not in o.defects
    ):
        order.tag = mistype(order.tag, draws, tags)


def _number(orders: list[Order], draws: Draws) -> None:
    """Order numbers, rising with the day on which an order was written."""
    number = {sc.SKARROW: 4_000_150, sc.MERROWFEN: 71_020}
    for order in orders:
        number[order.site] += draws.between(1, 9)
        order.wo_no = str(number[order.site])


def _duplicates(orders: list[Order], draws: Draws) -> list[Order]:
    """Some rows come twice, as from two overlapping exports."""
    name = "exact duplicate"
    twice = {o.wo_no for o in draws.sample(orders, ORDER_DEFECTS[name])}
    out = []
    for order in orders:
        out.append(order)
        if order.wo_no in twice:
            out.append(replace(order, what="duplicate", defects=[name]))
    return out
