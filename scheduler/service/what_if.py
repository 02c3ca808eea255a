"""What changes if it rains or rained, after a pass, with other hours: two lists side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from scheduler.errors import UsageError
from scheduler.planning.day import tenths
from scheduler.planning.ensemble import N_SOIL_MEMBERS, sky_change_hour
from scheduler.planning.plantings import touches
from scheduler.planning.whatif import Changes, WhatIf, changed_sky, compared
from scheduler.ports import Journal, LessonStore, Lists, Progress, WeatherStore
from scheduler.records import Event, Farm, Planting
from scheduler.service.basis import MARKED_DAYS, Basis, basis_of, surfaces_of
from scheduler.service.former import with_former
from scheduler.service.morning import kept_with_ranks, morning_of
from scheduler.service.situation import Kept, Situation, situation_of

ACTS = ("water", "pass")
_FIT_SHARE = 0.6  # chance below which a pass is told to meet soil that may not be fit


def what_if(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    changes: Changes,
    *,
    lists: Lists | None = None,
    n_members: int = N_SOIL_MEMBERS,
    kept: Kept | None = None,
    keep: Callable[[Kept], object] | None = None,
    progress: Progress | None = None,
    former: LessonStore | None = None,
) -> WhatIf:
    """The list of a morning, and what it would be if something were another.

    Nothing is written. The changed list is computed by the same steps as the list itself, but only
    for what the change reaches and only from its first hour on; a change of nothing gives the list.

    Parameters
    ----------
    farm, journal, weather, now, lists, n_members, progress
        As in `morning`.
    changes : Changes
        What is taken to be another.
    kept : Kept, optional
        The situation of the list, to go on from; it is left aside where it rests on other inputs.
    keep : callable, optional
        Given the situation where it had to be computed, to be kept for the next question.
    former : LessonStore, optional
        As in `situation`.

    Returns
    -------
    WhatIf
        Both lists, planting by planting.

    Raises
    ------
    WeatherMissingError
        As in `situation`.
    UsageError
        If the changes name what the farm has not, or moments out of sight.
    RangeError
        If less than no rain is to fall.
    """
    basis = basis_of(farm, journal, weather, now, n_members=n_members)
    basis = with_former(basis, weather, former, progress)
    _check(changes, basis)
    if kept is None or kept.key != basis.key():
        found = situation_of(basis, progress=progress)
        kept = kept_with_ranks(found, lists)
        if keep is not None:
            keep(kept)
    other = _changed(basis, changes, journal, weather, former)
    before = situation_of(basis, kept)
    after = situation_of(other, kept, progress=progress)
    ranked = [
        replace(s, kept=replace(s.kept, ranks=kept.ranks, own_sure=kept.own_sure))
        for s in (before, after)
    ]
    hour = next(iter(kept.ahead.values())).hour
    return compared(
        changes,
        morning_of(ranked[0]),
        morning_of(ranked[1], hours_h=changes.hours_today_h),
        before.kept.ahead,
        after.kept.ahead,
        basis.sky.at(hour).astimezone(before.day.zone),
        _notes(changes, basis, other, before, after),
    )


def _changed(
    basis: Basis,
    changes: Changes,
    journal: Journal,
    weather: WeatherStore,
    former: LessonStore | None,
) -> Basis:
    """The basis under the changes; the weather is read again only where rain is said to have."""
    other = basis
    if changes.logged:
        other = basis_of(
            basis.farm, journal, weather, basis.now, n_members=basis.n_members, more=changes.logged
        )
        other = with_former(other, weather, former, like=basis)
    if changes.acts:
        acts = tuple(sorted(changes.acts, key=lambda e: e.happened_at))
        surfaces = surfaces_of(other.plantings, (*other.events, *acts), other.series)
        other = replace(other, acts=acts, surfaces=surfaces)
    return replace(other, sky=changed_sky(other.sky, changes.rain, is_dry=changes.is_dry))


def _check(changes: Changes, basis: Basis) -> None:
    """Refuse what no bed, tool or moment of the farm answers to."""
    sight = basis.sky.at(basis.sky.n_hours)
    zone = ZoneInfo(basis.farm.place.time_zone)

    def local(moment: datetime) -> str:
        return f"{moment.astimezone(zone):%Y-%m-%d %H:%M}"

    for rain in changes.rain:
        if not basis.sky.at(basis.sky.now_hour) <= rain.start_at < rain.end_at <= sight:
            raise UsageError(
                f"rain from {local(rain.start_at)} to {local(rain.end_at)}: must lie between "
                f"{local(basis.now)} and {local(sight)}, the end of the days in sight"
            )
    tools = [tool.name for tool in basis.farm.tools]
    for event in (*changes.logged, *changes.acts):
        if event.kind == "rain":
            continue
        what = f"{event.kind} {event.bed}"
        if not any(touches(event, p) for p in basis.plantings):
            raise UsageError(f"{what}: no such bed or part now; see `whitethread today`")
        if event.kind == "pass" and event.data.get("tool") not in tools:
            raise UsageError(
                f"{what}: found tool {event.data.get('tool')!r}; the farm has {', '.join(tools)}"
            )
    for event in changes.acts:
        if event.kind not in ACTS:
            raise UsageError(f"{event.kind}: cannot be thought of ahead; a pass or water can")
        if not basis.now <= event.happened_at < sight - timedelta(days=1):
            raise UsageError(
                f"{event.kind} {event.bed}: found {local(event.happened_at)}; must lie between "
                f"{local(basis.now)} and {local(sight - timedelta(days=1))}"
            )


def _notes(
    changes: Changes, basis: Basis, other: Basis, before: Situation, after: Situation
) -> tuple[str, ...]:
    """What is to be known of the answer, in plain sentences."""
    notes: list[str] = []
    if changes.rain or changes.is_dry:
        notes.append(
            "the rain said here takes the place of what the forecast has in those hours; its sun, "
            "air and wind stay as they are"
        )
    for event in (*changes.logged, *changes.acts):
        if event.kind == "pass":
            notes += _pass_notes(event, basis, before, after)
    first = sky_change_hour(basis.sky, other.sky)
    if first is not None and first < basis.sky.now_hour + 24 * MARKED_DAYS[0]:
        notes.append(
            f"the change begins more than {-MARKED_DAYS[0]} days ago: every column was run anew"
        )
    if any(e.kind == "pass" for e in changes.logged):
        notes.append(
            "a pass that was made tells that the soil was fit then, for all beds on that soil"
        )
    return tuple(notes)


def _pass_notes(event: Event, basis: Basis, before: Situation, after: Situation) -> list[str]:
    """Whether soil and crop would let the tool in."""
    tool = next(t for t in basis.farm.tools if t.name == event.data["tool"])
    notes = []
    for planting in _reached(event, basis.plantings):
        name = f"{tool.name} on {planting.key}"
        draft = before.kept.drafts[planting.key].answer
        refused = next((r for r in draft.refusals if r.tool == tool.name), None)
        if refused is not None:
            notes.append(f"{name} is not offered today: {refused.why}")
        outlook = after.outlooks.get(planting.key)
        at = basis.sky.hour_of(event.happened_at) - basis.stored - 1  # before it stirs
        if outlook is None or at < 0 or event not in after.kept.basis.acts:
            continue
        chance = float(outlook.works[tool.key].chance_frac[at])
        if chance < _FIT_SHARE:
            notes.append(
                f"{name}: the soil is fit for it then by {tenths(chance)} only; the answer takes "
                "the pass as made"
            )
    return notes


def _reached(event: Event, plantings: Sequence[Planting]) -> list[Planting]:
    return [p for p in plantings if touches(event, p)]
