"""Writes hand-made what-ifs and their screens; run on purpose, with this command:

PYTHONPATH=. python tests/golden/make_what_ifs.py

Read the difference of the screens before committing it: the tests compare against these files.

The farm and every figure are invented; no model is run here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from pydantic import TypeAdapter

from scheduler.adapters.render.whatif_json import whatif_answer
from scheduler.adapters.render.whatif_text import whatif_text
from scheduler.planning.whatif import Changes, HandAhead, RainToCome, WhatIf, compared
from scheduler.records import BedAnswer, DayStrip, Event, Morning, Range
from tests.golden.make_mornings import NOW, at, spring, wet

HERE = Path(__file__).parent
UNTIL = at(23, 13)
PAGES = ((80, "metric"), (80, "us"), (40, "metric"))
TO_LOG = {"fell": ("whitethread log rain 25 mm last night",)}


def before() -> Morning:
    """The spring morning, with minutes on every line that is worth a pass."""
    whole = spring()

    def told(bed: BedAnswer, place: int) -> BedAnswer:
        if bed.verdict != "go" and bed.because != "no_hours":
            return bed
        mid = 8.0 + 3.0 * place
        minutes = {
            "saved": Range(0.3 * mid, mid, 2.5 * mid),
            "cost_of_waiting": Range(-1.0, 0.25 * mid, 0.8 * mid),
        }
        return replace(bed, minutes=minutes)

    return replace(
        whole,
        beds=tuple(told(bed, place) for place, bed in enumerate(whole.beds)),
        not_reached=tuple(told(bed, place) for place, bed in enumerate(whole.not_reached)),
    )


def hand(morning: Morning, more: Mapping[str, float]) -> dict[str, HandAhead]:
    """Ten minutes by hand on every bed, in four particles, and more where said."""
    spread = np.array([0.8, 0.9, 1.1, 1.2])
    return {
        bed.bed if bed.part is None else f"{bed.bed}/{bed.part}": HandAhead(
            220.0, (10.0 + more.get(bed.bed, 0.0)) * spread, np.full(4, 0.25)
        )
        for bed in (*morning.beds, *morning.not_reached)
    }


def made(changes: Changes, after: Morning, more: Mapping[str, float], *notes: str) -> WhatIf:
    """The spring morning beside another one."""
    own = replace(before(), n_soil_members=2)
    after = replace(after, weather=own.weather, as_of=own.as_of, day=own.day)
    return compared(changes, own, after, hand(own, {}), hand(own, more), UNTIL, notes)


def fell() -> WhatIf:
    """25 mm in the night that nobody logged: nothing is fit."""
    span = {"start_at": at(13, 20).isoformat(), "end_at": at(14, 5).isoformat()}
    event = Event("e", "rain", at(14, 5), NOW, None, None, {"rain_mm": 25.0, **span})
    parts = [b for b in (*before().beds, *before().not_reached) if b.part is not None]
    names = {b.bed for b in parts}
    beds = [b for b in wet().beds if b.bed not in names]
    beds += [
        replace(b, verdict="wait", because="wet", until=at(17, 11), rank=None, action=None)
        for b in parts
    ]
    more = {"C1": 6.0, "C2": 3.0, "B4": -4.0}
    return made(Changes(logged=(event,)), replace(wet(), beds=tuple(beds)), more)


def storm() -> WhatIf:
    """15 mm tonight: one line drops, one comes, waits grow longer, threads and crust move."""
    whole = before()
    go = [b for b in whole.beds if b.verdict == "go"]
    waits = [b for b in whole.beds if b.verdict == "wait" and b.until is not None][:3]
    first, second = go[0], go[1]

    def later(bed: BedAnswer) -> BedAnswer:
        assert bed.until is not None
        return replace(bed, until=bed.until + timedelta(hours=24))

    def end(moment: datetime | None) -> datetime | None:
        return None if moment is None else moment + timedelta(days=1)

    changed = {
        (first.bed, first.part): replace(
            first,
            verdict="wait",
            because="rain_after",
            until=at(16, 12),
            rank=None,
            action=None,
            sure=None,
            last_good_at=None,
        ),
        (second.bed, second.part): replace(
            second,
            sure=0.55,
            last_good_at=end(second.last_good_at),
            minutes={**(second.minutes or {}), "saved": Range(5.0, 12.0, 20.0)},
        ),
        **{(bed.bed, bed.part): later(bed) for bed in waits},
    }
    beds = tuple(changed.get((b.bed, b.part), b) for b in whole.beds)
    rain = Changes(rain=(RainToCome(15.0, at(14, 20), at(14, 23)),))
    note = "the rain said here takes the place of what the forecast has in those hours"
    return made(
        rain, replace(whole, beds=beds, minutes_planned=whole.minutes_planned - 6.0),
        {first.bed: 12.0, second.bed: 3.0}, note,
    )  # fmt: skip


def skip() -> WhatIf:
    """A day off: what was on the list is beyond the hours."""
    whole = before()
    go = [b for b in whole.beds if b.verdict == "go"]
    left = tuple(
        replace(b, verdict="wait", because="no_hours", rank=None, until=at(15, 0)) for b in go
    )
    rest = tuple(b for b in whole.beds if b.verdict != "go")
    return made(
        Changes(is_skipped=True),
        replace(
            whole, beds=rest, not_reached=(*left, *whole.not_reached), minutes_planned=0.0,
            setup_changes=0, hours_available=0.0,
        ),
        {},
    )  # fmt: skip


WHAT_IFS = {"fell": fell, "storm": storm, "skip": skip}


if __name__ == "__main__":
    DayStrip.__pydantic_config__ = {"arbitrary_types_allowed": True}  # no strip is stored
    for name, make in WHAT_IFS.items():
        found = make()
        stored = TypeAdapter(WhatIf).dump_json(found, indent=1)
        (HERE / f"what_if_{name}.json").write_bytes(stored + b"\n")
        whole = whatif_answer(found, TO_LOG.get(name, ()))
        whole["before"], whole["after"] = {}, {}  # as the morning's own answer has them
        (HERE / f"what_if_{name}.answer.json").write_text(json.dumps(whole, indent=1) + "\n")
        for width, units in PAGES:
            page = whatif_text(found, width, units, TO_LOG.get(name, ()))
            (HERE / f"what_if_{name}.{width}.{units}.txt").write_text(page)
