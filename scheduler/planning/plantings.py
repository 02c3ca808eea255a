"""From the journal to plantings, and to what was done to each planting's surface."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.models.crops import ground_cover_frac
from scheduler.models.soil_column import SurfaceHistory
from scheduler.planning.traits import CropTraits
from scheduler.records import Bed, Event, Farm, FloatArray, Planting

_WEEDY_COVER_FRAC = 0.5  # a bed left weedy, until it is first prepared
_FULL_COVER_FACTOR = 0.70  # basal crop coefficient of a full canopy (soil column under cover)
_DEEP_PREP_MM = 40.0  # a preparation from this depth on ends a planting
_DEFAULT_CLOSE_D = 60.0  # of a crop without a closing day
_UP_SHARE = 0.2  # of the days to closing, after which a sown crop begins to cover
_MOST_COVER_FRAC = 0.9
_MOST_COVER_NEVER_CLOSED_FRAC = 0.4
_EMPTY_ROOTS_MM = 300.0  # of what covers a bed without a crop
_YOUNG_ROOTS_MM = 150.0
_ROOTS_PER_COVER_MM = 350.0  # more at full cover


@dataclass(frozen=True)
class Trigger:
    """Something that can open a flush in one planting."""

    at: datetime
    by: str  # pass, preparation, sowing, planting, watering, wetting
    depth_mm: float = 0.0


def touches(event: Event, planting: Planting) -> bool:
    """Whether an entry concerns a planting: its bed, and its part or the whole bed.

    Parameters
    ----------
    event : Event
        An entry of the journal.
    planting : Planting
        A planting.

    Returns
    -------
    bool
        True if the entry's bed is the planting's and its part is the same, or absent.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, "north", 9.0, 18.0, None, False, None, None, None, None)
    >>> parts = ("north", "south", None)
    >>> [touches(Event("1", "pass", at, at, "A1", part), p) for part in parts]
    [True, False, True]
    """
    return event.bed == planting.bed.name and (
        event.part is None or planting.part is None or event.part == planting.part
    )


def plantings_at(farm: Farm, events: Sequence[Event]) -> tuple[Planting, ...]:
    """Every planting of the farm after `events`, one for each bed or for each part of a bed.

    A `clear` ends a planting; a `prep` of 40 mm or deeper ends it too, of the whole bed its parts
    as well. A bed without a
    crop is a planting too, with `crop` None.

    Parameters
    ----------
    farm : Farm
        The farm.
    events : sequence of Event
        Entries known and happened so far, corrections applied, in order.

    Returns
    -------
    tuple of Planting
        In the order of the farm's beds, parts by their start.

    Notes
    -----
    No range stated. Definition of this project.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> from datetime import time
    >>> from scheduler.records import Place, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 7)
    >>> beds = (Bed("A1", 18.0, 0.75, "loam"), Bed("A2", 18.0, 0.75, "loam"))
    >>> farm = Farm("made", Place(42.0, 0.0, 100.0, "UTC"), "metric", 5, {}, beds, (), work)
    >>> sown = Event("1", "sow", at, at, "A1", None, {"crop": "carrot", "n_rows": 3})
    >>> [(p.key, p.crop, p.n_rows) for p in plantings_at(farm, [sown])]
    [('A1', 'carrot', 3), ('A2', None, None)]
    """
    by_bed: dict[str, list[Event]] = {bed.name: [] for bed in farm.beds}
    for event in events:
        if event.bed in by_bed:
            by_bed[event.bed].append(event)
    return tuple(p for bed in farm.beds for p in _bed_plantings(bed, by_bed[bed.name]))


def _bed_plantings(bed: Bed, events: Sequence[Event]) -> list[Planting]:
    current: dict[str | None, Planting] = {}
    for event in events:
        if event.kind in ("sow", "plant"):
            if event.part is None:
                current.clear()
            else:
                current.pop(None, None)
            current[event.part] = planting_of(bed, event)
        elif event.kind == "clear" or (event.kind == "prep" and is_deep_preparation(event)):
            if event.part is None:
                current.clear()
            else:
                current[event.part] = _empty(bed, event.part, current.get(event.part))
        elif event.kind in ("up", "rooted"):
            for part, planting in current.items():
                if event.part not in (None, part):
                    continue
                if event.kind == "up":
                    current[part] = replace(planting, up_at=event.happened_at)
                else:
                    current[part] = replace(planting, rooted_at=event.happened_at)
    if all(p.crop is None for p in current.values()):
        return [_empty(bed, None, None)]
    return sorted(current.values(), key=lambda p: (p.from_m, p.part or ""))


def is_deep_preparation(event: Event) -> bool:
    """Whether a preparation goes deep enough to end what grew there.

    Parameters
    ----------
    event : Event
        A preparation.

    Returns
    -------
    bool
        True from 40 mm on; False where no depth is given.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> prepared = [{"depth_mm": 100.0}, {"depth_mm": 20.0}, {}]
    >>> [is_deep_preparation(Event("1", "prep", at, at, "A1", None, data)) for data in prepared]
    [True, False, False]
    """
    return float(event.data.get("depth_mm", 0.0)) >= _DEEP_PREP_MM


def _empty(bed: Bed, part: str | None, before: Planting | None) -> Planting:
    return Planting(
        bed,
        part,
        0.0 if before is None else before.from_m,
        bed.length_m if before is None else before.to_m,
        None,
        False,
        None,
        None,
        None,
        None,
    )


def planting_of(bed: Bed, event: Event) -> Planting:
    """What a sowing or setting puts into a bed.

    Parameters
    ----------
    bed : Bed
        The bed.
    event : Event
        A sowing or setting.

    Returns
    -------
    Planting
        Not up and not rooted yet.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> sown = Event("1", "sow", at, at, "A1", "north", {"crop": "carrot", "to_m": 9.0})
    >>> p = planting_of(Bed("A1", 18.0, 0.75, "loam"), sown)
    >>> p.key, p.is_sown, p.from_m, p.to_m
    ('A1/north', True, 0.0, 9.0)
    """
    data = event.data
    return Planting(
        bed,
        event.part,
        float(data.get("from_m", 0.0)),
        float(data.get("to_m", bed.length_m)),
        str(data["crop"]),
        event.kind == "sow",
        event.happened_at,
        int(data["n_rows"]) if "n_rows" in data else None,
        float(data["row_spacing_mm"]) if "row_spacing_mm" in data else None,
        float(data["depth_mm"]) if "depth_mm" in data else None,
    )


def was_done(event: Event) -> bool:
    """Whether an entry says that something was done: not a visit in vain.

    Parameters
    ----------
    event : Event
        An entry of the journal.

    Returns
    -------
    bool
        False for a pass logged as not worked.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> was_done(Event("1", "pass", at, at, "A1", None, {"worked": False}))
    False
    >>> was_done(Event("1", "pass", at, at, "A1"))
    True
    """
    return not (event.kind == "pass" and event.data.get("worked") is False)


def is_prepared(planting: Planting, events: Sequence[Event]) -> bool:
    """Whether an empty bed was prepared since its last crop, or a crop stands in it.

    Parameters
    ----------
    planting : Planting
        The planting.
    events : sequence of Event
        Entries of the farm, in order.

    Returns
    -------
    bool
        False where the bed is still to be prepared.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, None, False, None, None, None, None)
    >>> [prep, clear] = [Event(k, k, at, at, "A1") for k in ("prep", "clear")]
    >>> is_prepared(p, [prep]), is_prepared(p, [prep, clear]), is_prepared(p, [])
    (True, False, False)
    """
    if planting.crop is not None:
        return True
    kinds = ("prep", "sow", "plant", "clear")
    own = [e.kind for e in events if e.kind in kinds and touches(e, planting)]
    return bool(own) and own[-1] == "prep"


def disturbances(planting: Planting, events: Sequence[Event]) -> tuple[Trigger, ...]:
    """Entries that stir or wet the soil of a planting, in order.

    Parameters
    ----------
    planting : Planting
        The planting.
    events : sequence of Event
        Entries of the farm.

    Returns
    -------
    tuple of Trigger
        Passes, preparations, sowings, plantings and waterings.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, None, False, None, None, None, None)
    >>> events = [Event(k, k, at, at, "A1", None, {"depth_mm": 20.0}) for k in ("pass", "look")]
    >>> [(trigger.by, trigger.depth_mm) for trigger in disturbances(p, events)]
    [('pass', 20.0)]
    """
    names = {
        "pass": "pass",
        "prep": "preparation",
        "sow": "sowing",
        "plant": "planting",
        "water": "watering",
    }
    return tuple(
        Trigger(e.happened_at, names[e.kind], float(e.data.get("depth_mm", 0.0)))
        for e in events
        if e.kind in names and touches(e, planting) and was_done(e)
    )


def surface_table(
    planting: Planting,
    events: Sequence[Event],
    traits: Mapping[str, CropTraits],
    start_at: datetime,
    n_hours: int,
) -> FloatArray:
    """What was done to one planting's surface and what covers it, hour by hour.

    Parameters
    ----------
    planting : Planting
        The planting as it stands now.
    events : sequence of Event
        Entries of the farm.
    traits : mapping
        Crop traits by crop name.
    start_at : datetime
        First hour (UTC).
    n_hours : int
        Number of hours.

    Returns
    -------
    array
        Shape (n_hours, 6): water mm, sprinkled share, loosened mm, cover, crop factor, root mm; the
        fields of `SurfaceHistory` in order.

    Notes
    -----
    Cover follows the days since sowing or planting up to the crop's closing day; the canopy of an
    earlier crop in the same bed is kept until the bed is cleared or prepared. Source: fao56 table
    11 for closing days. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, None, False, None, None, None, None)
    >>> watered = Event("1", "water", at, at, "A1", None, {"water_mm": 8.0})
    >>> tilled = Event("2", "pass", at, at, "A1", None, {"depth_mm": 20.0})
    >>> start = at - timedelta(hours=1)
    >>> surface_table(p, [watered, tilled], {}, start, 3)[:, :3].tolist()
    [[0.0, 0.0, 0.0], [8.0, 0.0, 20.0], [0.0, 0.0, 0.0]]
    """
    table = np.zeros((n_hours, 6))
    table[:, 5] = _EMPTY_ROOTS_MM
    own = [e for e in events if touches(e, planting) and was_done(e)]

    def hour_of(moment: datetime) -> int:
        return int((moment - start_at) // timedelta(hours=1))

    cover_from: list[tuple[int, Event | None]] = []
    prepared = [e for e in own if e.kind in ("prep", "sow", "plant", "pass")]
    if planting.bed.was in ("weedy", "cover"):
        until = hour_of(prepared[0].happened_at) if prepared else n_hours
        table[: max(0, min(until, n_hours)), 3] = _WEEDY_COVER_FRAC
    for event in own:
        hour = hour_of(event.happened_at)
        if event.kind in ("sow", "plant", "clear") or (
            event.kind == "prep" and is_deep_preparation(event)
        ):
            cover_from.append((hour, event if event.kind in ("sow", "plant") else None))
        if not 0 <= hour < n_hours:
            continue
        if event.kind == "water":
            table[hour, 0] += float(event.data["water_mm"])
            table[hour, 1] = 1.0 if planting.bed.irrigation == "sprinkler" else 0.0
        elif event.kind in ("pass", "prep"):
            table[hour, 2] = max(table[hour, 2], float(event.data.get("depth_mm", 0.0)))
    for i, (hour, source) in enumerate(cover_from):
        end = cover_from[i + 1][0] if i + 1 < len(cover_from) else n_hours
        first, last = max(hour, 0), min(end, n_hours)
        if last > first:
            table[first:last, 3] = 0.0
            if source is not None:
                days = (np.arange(first, last) - hour) / 24.0
                table[first:last, 3] = _cover(days, source, traits)
                table[first:last, 5] = _YOUNG_ROOTS_MM + _ROOTS_PER_COVER_MM * table[first:last, 3]
    table[:, 4] = _FULL_COVER_FACTOR * table[:, 3]
    return table


def _cover(days: FloatArray, event: Event, traits: Mapping[str, CropTraits]) -> FloatArray:
    crop = traits.get(str(event.data.get("crop")))
    close_d = _DEFAULT_CLOSE_D if crop is None or crop.close_d is None else crop.close_d
    is_open = crop is not None and crop.close_d is None
    max_cover = _MOST_COVER_NEVER_CLOSED_FRAC if is_open else _MOST_COVER_FRAC
    return ground_cover_frac(days, close_d, _UP_SHARE * close_d, event.kind == "plant", max_cover)


def surface_history(tables: Sequence[FloatArray]) -> SurfaceHistory:
    """Stack the tables of `surface_table` into one history for the soil column.

    Parameters
    ----------
    tables : sequence of array
        One table a history, each (n_hours, 6).

    Returns
    -------
    SurfaceHistory
        Arrays (n_histories, n_hours).

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> history = surface_history([np.zeros((5, 6)), np.ones((5, 6))])
    >>> history.cover_frac.shape, history.cover_frac[:, 0].tolist()
    ((2, 5), [0.0, 1.0])
    """
    stack = np.stack(list(tables))
    return SurfaceHistory(*(np.ascontiguousarray(stack[:, :, i]) for i in range(6)))
