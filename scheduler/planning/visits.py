"""What a visit to a bed tells: of its soil, for every bed on it; and of its line, for the day.

Whoever sets out and finds a bed too wet has made a squeeze test, and so has whoever finds it fit.
Members of the soil that said otherwise lose weight. A handful tells more, by its word: it moves the
threshold of the soil too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.day import Day, local_moment
from scheduler.planning.draws import tempered_weights, weighted_quantiles
from scheduler.planning.ensemble import Ensemble, ShiftPrior
from scheduler.planning.hours import local_day
from scheduler.planning.offers import Choice, Kit, Offer, Site
from scheduler.planning.order import Draft
from scheduler.planning.outlook import SKIN_H, Ground, Met, ground_of, met_by
from scheduler.planning.plantings import touches, was_done
from scheduler.planning.spans import fit_spans
from scheduler.planning.squeeze import (
    AS_DRAWN,
    Handful,
    Squeezed,
    moved_members,
    squeezed,
)
from scheduler.planning.traits import ToolTraits
from scheduler.records import BoolArray, Event, Farm, FloatArray, Planting, Refusal, Tool

_CONTRADICTED_FRAC = 0.1  # of its weight that a member keeps which said otherwise
_LEAST_EFFECTIVE_FRAC = 0.5  # of the members, whatever was found
_NOON_H = 12  # parts the two halves of a day
FIT, TOO_WET, TOO_HARD, NOT_TOO_WET = "fit", "too wet", "too hard", "not too wet"
_BY_FEEL: Mapping[str, str] = {
    "wet": TOO_WET,
    "smears": TOO_WET,
    "crumbles": FIT,
    "dry": NOT_TOO_WET,
    "hard": TOO_HARD,
}
_BECAUSE: Mapping[str, str] = {TOO_WET: "wet", TOO_HARD: "hard"}
_LEAVES_SOIL = ("flame", "hand")  # gates of work that says nothing of the soil
A_SQUEEZE = ToolTraits(False, True, True, False, 30.0, 0.0)


@dataclass(frozen=True)
class Visit:
    """What was found at one bed in one hour of the sky's clock, with what the tool asks."""

    planting: Planting
    hour: int
    half_day: tuple[date, bool]  # local date, and whether it was before noon
    tool: ToolTraits
    found: str  # fit, too wet, too hard, not too wet
    event: Event


def visits_of(
    plantings: Sequence[Planting],
    events: Sequence[Event],
    tools: Mapping[str, Tool],
    traits: Mapping[str, ToolTraits],
    ensemble: Ensemble,
    time_zone: str,
) -> tuple[Visit, ...]:
    """The entries that are squeeze tests, within the stored hours and up to now.

    Parameters
    ----------
    plantings : sequence of Planting
        All of the farm.
    events : sequence of Event
        Entries that stand; superseded and undone ones are not among them.
    tools : mapping
        The farm's tools by name.
    traits : mapping
        Tool traits by the tool's key.
    ensemble : Ensemble
        For the clock.
    time_zone : str
        Of the farm, for its half-days.

    Returns
    -------
    tuple of Visit
        In the order of the entries.

    Notes
    -----
    A pass that was made found the soil fit, unless it worked poorly, which has more causes than
    one; a pass not made is a test only where the entry says what was found. A handful: `wet` and
    `smears` are too wet, `crumbles` is fit, `dry` is not too wet, `hard` is too hard; it is taken
    as the soil of 0-30 mm without wheels, and left out where it counts among those of former
    months. The moment of an entry is taken at its word: a pass
    logged in the evening without its hour is a pass of the evening. Definition of this project. No
    range stated. Worked: tests/planning/test_visits.py.
    """
    sky = ensemble.sky
    found: list[Visit] = []
    for event in events:
        told = _told(event, tools, traits)
        at = None if told is None else _planting_of(event, plantings)
        if told is None or at is None:
            continue
        hour = sky.hour_of(event.happened_at)
        if not ensemble.stored_from_hour <= hour <= min(sky.now_hour, sky.n_hours - 1):
            continue
        if event.kind == "feel" and hour < ensemble.feels_from_hour:
            continue
        local = event.happened_at.astimezone(ZoneInfo(time_zone))
        found.append(Visit(at, hour, (local.date(), local.hour < _NOON_H), *told, event))
    return tuple(found)


def _told(
    event: Event, tools: Mapping[str, Tool], traits: Mapping[str, ToolTraits]
) -> tuple[ToolTraits, str] | None:
    """What the tool asks of the soil and what was found, where the entry says so."""
    if event.kind == "feel":
        said = _BY_FEEL.get(str(event.data.get("feel")))
        return None if said is None else (A_SQUEEZE, said)
    if event.kind != "pass":
        return None
    tool = tools.get(str(event.data.get("tool")))
    if tool is None or tool.key not in traits or traits[tool.key].crop_gate in _LEAVES_SOIL:
        return None
    if was_done(event):
        return None if event.data.get("how") == "poorly" else (traits[tool.key], FIT)
    said = event.data.get("found")
    return (traits[tool.key], str(said)) if said in _BECAUSE else None


def _planting_of(event: Event, plantings: Sequence[Planting]) -> Planting | None:
    """The planting an entry is of, else any of its bed: the soil is the bed's."""
    own = [p for p in plantings if p.bed.name == event.bed]
    return next((p for p in own if touches(event, p)), own[0] if own else None)


def is_contradicted(met: Met, found: str) -> BoolArray:
    """Whether a member's soil at some hours is another than what was found.

    Parameters
    ----------
    met : Met
        The soil by member and hour, as the tool finds it.
    found : str
        fit, too wet, too hard or not too wet.

    Returns
    -------
    array of bool
        (n_members, n_hours).

    Notes
    -----
    A frozen member contradicts fit soil alone. Definition of this project. No range stated.

    Examples
    --------
    Members that say frozen, too wet, too hard and fit.

    >>> met = Met(*(np.array([[i == k] for i in range(4)]) for k in range(3)))
    >>> is_contradicted(met, "too wet")[:, 0].tolist()
    [False, False, True, True]
    >>> is_contradicted(met, "fit")[:, 0].tolist()
    [True, True, True, False]
    """
    wet, hard = met.is_too_wet, met.is_too_hard
    if found == FIT:
        return ~met.is_fit
    if found == NOT_TOO_WET:
        return wet
    return met.is_fit | (hard & ~wet if found == TOO_WET else wet & ~hard)


def learned_weights(contradicted: Sequence[Sequence[BoolArray]], n_members: int) -> FloatArray:
    """Weights of a soil's members after what was found on it.

    Parameters
    ----------
    contradicted : sequence of sequence of array
        By half-day, by visit: whether each member said otherwise, (n_members,).
    n_members : int
        Number of members.

    Returns
    -------
    array
        Weights that sum to 1, (n_members,).

    Notes
    -----
    A member keeps a tenth of its weight for each half-day that contradicts it; the visits of one
    half-day count once, each with its share. All is then tempered, by one exponent, so that the
    effective number of members, 1 / sum of squares, stays at half or more. Assumptions of this
    project after a simulation study. No range stated.

    Examples
    --------
    >>> otherwise = np.array([True, False, False, False])
    >>> learned_weights([[otherwise]], 4).round(3).tolist()
    [0.032, 0.323, 0.323, 0.323]
    >>> once = learned_weights([[otherwise, otherwise]], 4)
    >>> bool(np.all(once == learned_weights([[otherwise]], 4)))
    True
    >>> w = learned_weights([[~otherwise]], 4)  # three of four said otherwise
    >>> w.round(3).tolist(), round(float(1.0 / (w**2).sum()), 6)
    ([0.683, 0.106, 0.106, 0.106], 2.0)
    """
    return tempered_weights(_log_weight(contradicted, n_members), _LEAST_EFFECTIVE_FRAC)[0]


def _log_weight(contradicted: Sequence[Sequence[BoolArray]], n_members: int) -> FloatArray:
    """Logarithm of the weight that contradictions leave each member, the best at nought."""
    against = np.zeros(n_members)
    for visits in contradicted:
        against += np.mean(np.asarray(visits, np.float64), axis=0)
    log_weight: FloatArray = np.log(_CONTRADICTED_FRAC) * (against - against.min())
    return log_weight


def visit_weights(
    ensemble: Ensemble,
    plantings: Sequence[Planting],
    events: Sequence[Event],
    tools: Mapping[str, Tool],
    traits: Mapping[str, ToolTraits],
    time_zone: str,
) -> Mapping[str, FloatArray]:
    """Weights of the members of every soil, by what was found on visits.

    Parameters
    ----------
    ensemble : Ensemble
        Columns after their run.
    plantings : sequence of Planting
        All of the farm.
    events : sequence of Event
        Entries that stand.
    tools : mapping
        The farm's tools by name.
    traits : mapping
        Tool traits by the tool's key.
    time_zone : str
        Of the farm, for its half-days.

    Returns
    -------
    mapping
        Weights by soil, (n_members,); a soil without a visit keeps its own.

    Notes
    -----
    Learned anew from the entries each time, from equal weights: an entry taken back leaves no
    trace, and asking twice changes nothing. Sources and range as `visits_of`, `is_contradicted`
    and `learned_weights`. Worked: tests/planning/test_visits.py.
    """
    found = visits_of(plantings, events, tools, traits, ensemble, time_zone)
    learned = learned_soils(ensemble, found)
    return {
        soil: learned[soil].weights if soil in learned else own
        for soil, own in ensemble.weights.items()
    }


def learned_soils(ensemble: Ensemble, visits: Sequence[Visit]) -> Mapping[str, Squeezed]:
    """What visits say of the members of every soil they were on.

    Parameters
    ----------
    ensemble : Ensemble
        Columns after their run.
    visits : sequence of Visit
        As `visits_of` finds them.

    Returns
    -------
    mapping
        Weights, shift of the thresholds and doubted handfuls, by soil; the places of these are
        those among the handfuls of the soil, in the order of `visits`.

    Notes
    -----
    Passes weigh members by contradiction, handfuls by their word. All that was found in one
    half-day counts as one visit, each with its share; without a handful a threshold lies where it
    was thought before. Sources and range as `learned_weights` and `squeezed`. Worked:
    tests/planning/test_visits.py.
    """
    by_soil: dict[str, list[Visit]] = {}
    for visit in visits:
        by_soil.setdefault(visit.planting.bed.soil, []).append(visit)
    return {soil: _learned(ensemble, soil, found) for soil, found in by_soil.items()}


def _learned(ensemble: Ensemble, soil: str, visits: Sequence[Visit]) -> Squeezed:
    """What the visits of one soil say of its members."""
    n, thought = ensemble.n_members, _thought(ensemble, soil)
    halves: dict[tuple[date, bool], list[BoolArray]] = {}
    n_of_half: dict[tuple[date, bool], int] = {}
    felt: list[Visit] = []
    for visit in visits:
        n_of_half[visit.half_day] = n_of_half.get(visit.half_day, 0) + 1
        if visit.tool == A_SQUEEZE:
            felt.append(visit)
            continue
        at = visit.hour - ensemble.stored_from_hour
        hours = slice(max(0, at - SKIN_H + 1), at + 1)
        met = met_by(visit.tool, _drawn_ground(visit.planting, ensemble, hours))
        halves.setdefault(visit.half_day, []).append(is_contradicted(met, visit.found)[:, -1])
    if not felt:
        weights = learned_weights([halves[half] for half in sorted(halves)], n)
        return _unfelt(weights, thought)
    passes = np.zeros(n)
    for half in sorted(halves):
        share = len(halves[half]) / n_of_half[half]
        passes += share * _log_weight([halves[half]], n)
    handfuls = [handful_of(visit, ensemble, 1.0 / n_of_half[visit.half_day]) for visit in felt]
    return squeezed(handfuls, passes, _LEAST_EFFECTIVE_FRAC * n, thought)


def _thought(ensemble: Ensemble, soil: str) -> ShiftPrior:
    """Where the thresholds of a soil are thought to lie before its visits."""
    return ensemble.thought.get(soil, AS_DRAWN)


def _unfelt(weights: FloatArray, thought: ShiftPrior) -> Squeezed:
    """A soil of which nobody squeezed a handful."""
    n = weights.size
    return Squeezed(weights, np.full(n, thought.mean_m3m3), (), np.full(n, thought.sd_m3m3))


def handful_of(visit: Visit, ensemble: Ensemble, share: float = 1.0) -> Handful:
    """A squeeze test against the members of its soil as drawn.

    Parameters
    ----------
    visit : Visit
        The test.
    ensemble : Ensemble
        Columns after their run.
    share : float
        Of one visit, that it counts as.

    Returns
    -------
    Handful
        Of its hour alone.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_visits.py.
    """
    at = visit.hour - ensemble.stored_from_hour
    ground = _drawn_ground(visit.planting, ensemble, slice(at, at + 1))
    limit = np.minimum(ground.members.working_m3m3, ground.members.ceiling_m3m3)
    excess = ground.water(A_SQUEEZE.decides_to_mm)[:, 0] - limit
    is_hard = met_by(A_SQUEEZE, ground).is_too_hard[:, 0]
    return Handful(str(visit.event.data.get("feel")), excess, is_hard, share)


def _drawn_ground(planting: Planting, ensemble: Ensemble, hours: slice) -> Ground:
    """The ground of a planting under the thresholds as drawn."""
    ground = ground_of(planting, ensemble, hours)
    drawn = ensemble.drawn.get(planting.bed.soil)
    return ground if drawn is None else replace(ground, members=drawn)


def taught(
    ensemble: Ensemble,
    farm: Farm,
    plantings: Sequence[Planting],
    events: Sequence[Event],
    traits: Mapping[str, ToolTraits],
) -> Ensemble:
    """The ensemble with the weights and the thresholds that visits give its members.

    Parameters
    ----------
    ensemble : Ensemble
        Columns after their run.
    farm : Farm
        Its tools and time zone.
    plantings : sequence of Planting
        All of the farm.
    events : sequence of Event
        Entries that stand.
    traits : mapping
        Tool traits by the tool's key.

    Returns
    -------
    Ensemble
        The same columns; the members of a soil that was squeezed, now or in former months, have
        other thresholds, and those they were drawn with are kept beside.

    Notes
    -----
    As `visit_weights` and `learned_soils`. Worked: tests/planning/test_visits.py.
    """
    tools = {tool.name: tool for tool in farm.tools}
    found = visits_of(plantings, events, tools, traits, ensemble, farm.place.time_zone)
    unfelt = {s: _unfelt(own, _thought(ensemble, s)) for s, own in ensemble.weights.items()}
    learned = {**unfelt, **learned_soils(ensemble, found)}
    weights = {soil: learned[soil].weights for soil in ensemble.weights}
    drawn = {**ensemble.members, **ensemble.drawn}
    moved = {soil for soil, one in learned.items() if one.shift_m3m3.any()}
    members = {
        soil: moved_members(own, learned[soil].shift_m3m3) if soil in moved else own
        for soil, own in drawn.items()
    }
    return replace(
        ensemble,
        weights=weights,
        members=members,
        drawn={soil: drawn[soil] for soil in drawn if soil in moved},
    )


def refused_today(planting: Planting, events: Sequence[Event], day: Day) -> Refusal | None:
    """The pass over a planting that was found unfit today and has not come right since.

    Parameters
    ----------
    planting : Planting
        The planting.
    events : sequence of Event
        Entries that stand.
    day : Day
        The clock.

    Returns
    -------
    Refusal or None
        Tool, `wet` or `hard` (`unknown` where the entry does not say) and a sentence.

    Notes
    -----
    A pass made later in the day ends it, and so does a handful that crumbles. Definition of this
    project. No range stated. Worked: tests/planning/test_visits.py.
    """
    zone = day.farm.place.time_zone
    today = local_day(day.now, zone)
    found: Refusal | None = None
    for event in sorted(events, key=lambda e: (e.happened_at, e.event_id)):
        is_today = local_day(event.happened_at, zone) == today and event.happened_at <= day.now
        if not is_today or not touches(event, planting):
            continue
        if event.kind == "pass":
            found = None if was_done(event) else _refusal(event, day)
        elif event.kind == "feel" and event.data.get("feel") == "crumbles":
            found = None
    return found


def _refusal(event: Event, day: Day) -> Refusal:
    said = str(event.data.get("found", ""))
    because = _BECAUSE.get(said, "unknown")
    words = said if because != "unknown" else "not fit to work"
    tool = str(event.data.get("tool"))
    at = f"{local_moment(event.happened_at, day):%H:%M}"
    return Refusal(tool, because, f"found {words} with {tool} at {at} today")


def after_refusal(
    draft: Draft, site: Site, choice: Choice, kit: Kit, events: Sequence[Event], day: Day
) -> Draft:
    """A verdict after today's visit: what was found unfit is not listed again the same day.

    Parameters
    ----------
    draft : Draft
        The verdict with all that is due.
    site : Site
        The planting.
    choice : Choice
        Tools that can go.
    kit : Kit
        The farm's tools.
    events : sequence of Event
        Entries that stand.
    day : Day
        The clock.

    Returns
    -------
    Draft
        The same; but `wait` until the first fit hour of tomorrow or later, where it would send
        the same tool, or another that would meet the same, to the planting again.

    Notes
    -----
    Where it was too wet no tool that stirs the soil is listed, though a hoe bears a little more
    than a machine; where it was too hard one that does not mind a crust may be; where the entry
    says no reason any other may be. Definition of this project. No range stated. Worked:
    tests/planning/test_visits.py; a whole morning: tests/scenes/test_visit_scenes.py.
    """
    answer = draft.answer
    refusal = refused_today(site.planting, events, day)
    if refusal is None or answer.verdict != "go" or answer.action is None:
        return draft
    offer = next((o for o in choice.offers if o.tool.name == answer.action.tool), None)
    if offer is None or _is_spared(offer, refusal, kit):
        return draft
    until = local_moment(day.sky.at(_next_fit(offer, site, day)), day)
    waiting = replace(
        answer,
        verdict="wait",
        because=refusal.because,
        until=until,
        action=None,
        sure=None,
        last_good_at=None,
        why=(refusal.why,),
        refusals=(*answer.refusals, refusal),
    )
    return Draft(waiting, 0.0)


def _is_spared(offer: Offer, refusal: Refusal, kit: Kit) -> bool:
    """Whether a tool may still go where another was refused."""
    if offer.tool.name == refusal.tool:
        return False
    asks = kit.rules.traits[offer.tool.key]
    refused = kit.rules.tools.get(refusal.tool)
    if asks.crop_gate in _LEAVES_SOIL or refusal.because == "unknown":
        return True
    if refusal.because == "wet" or refused is None:
        return False
    return kit.rules.traits[refused.key].minds_crust and not asks.minds_crust


def _next_fit(offer: Offer, site: Site, day: Day) -> int:
    """First hour after today in which the tool can work, else that of the crop up."""
    later = fit_spans(offer, day, day.last_hour_today, day.sky.n_hours)
    if later:
        return later[0][0]
    last = day.sky.n_hours - 1
    up = site.outlook.emergence_hours
    if offer.purpose != "blind" or up is None:
        return last
    hours = np.nan_to_num(up, nan=float(last))
    return min(int(weighted_quantiles(hours, site.outlook.weights)[2]), last)
