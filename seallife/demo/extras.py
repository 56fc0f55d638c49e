"""Rows that a job leaves behind besides its own: other trades, rework, pumps nobody knows.

In: a list of `Order`. Out: more of them. Next: `seallife.demo.defects`.
"""

from __future__ import annotations

from datetime import date, timedelta

from seallife.demo import scenario as sc
from seallife.demo.draws import Draws
from seallife.demo.orders import Order
from seallife.demo.words import Writer

__all__ = ["EXTRA_ROWS", "second_orders", "stray_orders"]

EXTRA_ROWS: dict[str, int] = {
    "second order same job": 71,
    "rework before hand-over": 19,
    "tag not in register": 17,
    "before commissioning": 7,
    "after retirement": 5,
}
"""Fault -> rows added."""


def second_orders(orders: list[Order], draws: Draws, writer: Writer) -> list[Order]:
    """Other trades' orders for the same job, and rework before the pump was handed back."""
    extra = []
    whole = [
        o
        for o in orders
        if o.reason == "seal failed" and o.status == "done" and o.work_start and not o.defects
    ]
    name = "second order same job"
    for order in draws.sample(whole, EXTRA_ROWS[name]):
        twin = _follow(order, "second", writer)
        assert order.work_start is not None
        assert order.end_date is not None
        twin.date_raised = twin.filed = min(order.work_start, order.end_date + timedelta(days=2))
        twin.work_start = order.work_start
        twin.work_end = min(order.work_start + timedelta(days=draws.between(0, 2)), sc.DATA_END)
        twin.closed = twin.work_end + timedelta(days=draws.between(5, 60))
        twin.wo_type = draws.pick(["corrective", "planned"])
        twin.defects = [name]
        extra.append(twin)
    name = "rework before hand-over"
    slow = [
        o
        for o in whole
        if o.work_end and o.end_date and o.work_start and (o.work_end - o.work_start).days >= 3
    ]
    for order in draws.sample(slow, EXTRA_ROWS[name]):
        again = _follow(order, "rework", writer)
        assert order.work_start is not None
        assert order.work_end is not None
        again.work_end = again.back_date = order.work_end
        order.work_end = order.work_start + timedelta(days=1)
        again.date_raised = again.filed = order.work_end + timedelta(days=draws.between(0, 1))
        again.work_start = again.date_raised
        again.closed = again.work_end + timedelta(days=draws.between(5, 60))
        again.defects = [name]
        extra.append(again)
    return extra


def _follow(order: Order, kind: str, writer: Writer) -> Order:
    """An order that belongs to the same job as ``order``."""
    slots = {"end": "", "tag": order.tag.strip(), "other": "B"}
    short, long, _ = writer.other("en", kind, slots)
    return Order(
        order.site,
        order.tag,
        order.filed,
        short_text=short,
        long_text=long,
        labour_h=4.0,
        cost=320.0,
        what="second order" if kind == "second" else "rework",
        lives=order.lives,
        positions=order.positions,
        reason=order.reason,
        cause=order.cause,
        end_date=order.end_date,
        back_date=order.back_date,
        two_ended=order.two_ended,
    )


def stray_orders(
    draws: Draws, writer: Writer, commissioned: dict[str, date], retired: dict[str, date]
) -> list[Order]:
    """Orders for pumps nobody knows, and for pumps that were not there yet or no more."""
    unknown = [f"P-{u}9{n:02d}{x}" for u in (1, 3, 5, 7, 9) for n in (1, 4) for x in "AB"]
    low, high = sc.WINDOWS[sc.SKARROW][0], sc.DATA_END - timedelta(days=60)
    out = []

    def stray(tag: str, when: date, defect: str) -> None:
        short, long, _ = writer.other("en", "stray", {"end": "", "tag": tag, "other": "B"})
        order = Order(
            sc.SKARROW, tag, when, short_text=short, long_text=long, what="stray", date_raised=when
        )
        order.work_start, order.work_end = when, when + timedelta(days=1)
        order.closed = when + timedelta(days=30)
        order.labour_h, order.cost, order.defects = 6.0, 540.0, [defect]
        out.append(order)

    for _ in range(EXTRA_ROWS["tag not in register"]):
        when = low + timedelta(days=draws.between(0, (high - low).days))
        stray(draws.pick(unknown), when, "tag not in register")
    for i in range(EXTRA_ROWS["before commissioning"]):
        tag = sorted(commissioned)[i % len(commissioned)]
        stray(
            tag, commissioned[tag] - timedelta(days=draws.between(60, 500)), "before commissioning"
        )
    for i in range(EXTRA_ROWS["after retirement"]):
        tag = sorted(retired)[i % len(retired)]
        stray(tag, retired[tag] + timedelta(days=draws.between(60, 400)), "after retirement")
    return out
