"""[work]: when there is time for this work."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time
from typing import Any

from scheduler.adapters.farmfile.findings import Findings, one_table
from scheduler.adapters.farmfile.schema import WEEKDAYS, WorkTable
from scheduler.records import Blocked, WorkPlan


def read_work_plan(document: Mapping[str, Any], findings: Findings) -> WorkPlan | None:
    """Return the working hours, or None where the table cannot be read."""
    table = one_table(WorkTable, "work", document, findings, is_needed=True)
    if table is None:
        return None
    if table.end <= table.start:
        findings.fault(
            ("work", "end"),
            f"{table.end:%H:%M} is not after start {table.start:%H:%M}; "
            "the day ends after it starts",
        )
    for index, blocked in enumerate(table.blocked):
        if blocked.is_backwards:
            findings.fault(
                ("work", "blocked", index, "to"),
                f"{blocked.end:%H:%M} is not after from {blocked.start:%H:%M}; "
                "blocked hours end after they start, on the same day",
            )
    hours = tuple(getattr(table.hours, day) for day in WEEKDAYS)
    span_h = (_minutes(table.end) - _minutes(table.start)) / 60
    for day, day_h in zip(WEEKDAYS, hours, strict=True):
        if day_h > span_h > 0:
            findings.warn(
                ("work", "hours", day),
                f"{day_h:g} h does not fit between {table.start:%H:%M} and {table.end:%H:%M}; "
                f"{span_h:g} h are used",
            )
    if not any(hours):
        findings.warn(("work", "hours"), "no hours on any day, so no work is ever planned")
    mon, tue, wed, thu, fri, sat, sun = (min(day_h, max(span_h, 0.0)) for day_h in hours)
    price = {} if table.machine_price is None else {"machine_price": table.machine_price}
    return WorkPlan(
        start=table.start,
        end=table.end,
        hours=(mon, tue, wed, thu, fri, sat, sun),
        blocked=tuple(
            Blocked(weekday=weekday, start=blocked.start, end=blocked.end, why=blocked.why)
            for blocked in table.blocked
            for weekday in blocked.weekdays
        ),
        hourly_value=table.hourly_value,
        currency=table.currency,
        **price,
    )


def _minutes(clock: time) -> int:
    return 60 * clock.hour + clock.minute
