"""What stopwatch and marked weeds teach at one moment, from the journal and the weeds followed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace

import numpy as np

from scheduler.models.weeds.cohorts import Particles
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.own_rates import (
    Marked,
    OwnRates,
    Timed,
    counted_passes,
    marked_weeds,
    met_kill_frac,
    own_rates,
    rounds_by_hand,
    timed_passes,
    timed_rounds,
    timed_setups,
)
from scheduler.planning.passes import PassRules, PassWeather, tool_kill_frac
from scheduler.planning.plantings import touches
from scheduler.planning.readings import counted_hand_minutes
from scheduler.planning.watched import N_SEEDS
from scheduler.planning.weeds import (
    N_PARTICLES,
    KillTable,
    LearnedWeeds,
    WeedHistory,
    counts_at,
    draw_particles,
    in_row_share,
)
from scheduler.records import Event, Farm, FloatArray, Planting
from scheduler.service.settings import (
    GATE_KPA,
    hand_rates,
    kill_settings,
    kill_table,
    tool_traits,
    weed_settings,
)

N_ASKED = 128  # particles by which weeds of then are told, the first of all
_BEFORE_H = 0.01  # the weeds that a pass or a round met
_UNSEEN_H = 10**9  # first hour of weather that nothing is known of
_COUNTED_STAGES = np.array([0.0, 1.0, 1.0, 0.0, 0.0])  # green weeds where no particles tell them


def tool_rates(
    farm: Farm,
    events: Sequence[Event],
    plantings: Sequence[Planting],
    ensemble: Ensemble,
    rules: PassRules,
    kills: KillTable,
    history_of: Callable[[Planting], WeedHistory],
) -> OwnRates:
    """Minutes of work and set-up, and kill, as the farm's entries teach them.

    Parameters
    ----------
    farm : Farm
        As described.
    events : sequence of Event
        Entries that stand, in order.
    plantings : sequence of Planting
        As they stand.
    ensemble : Ensemble
        Columns after their run.
    rules : PassRules
        Tools as described.
    kills : KillTable
        Kill by the tables.
    history_of : callable
        Openings and passes of a planting under that kill; asked where survivors were counted.

    Returns
    -------
    OwnRates
        Without rounds by hand.

    Notes
    -----
    A pass over a planting that still stands is reckoned under its own weather and for the weeds it
    met; an older one as by the tables on soil that was not wet.
    """
    marked = []
    for count, of_pass in counted_passes(farm, events):
        here = [p for p in plantings if touches(count, p) and touches(of_pass, p)]
        found = None if not here else _met(here[0], of_pass, ensemble, history_of, farm.seed)
        if found is None:
            found = _as_tabled(of_pass, rules, kills)
        marked.append(marked_weeds(count, of_pass, found))
    return own_rates(
        farm.tools, timed_passes(farm, events, rules.traits), timed_setups(farm, events),
        marked=_sorted(marked),
    )  # fmt: skip


def journal_rates(farm: Farm, events: Sequence[Event]) -> OwnRates:
    """As `tool_rates`, from the journal alone: kill as by the tables on soil that was not wet.

    Parameters
    ----------
    farm : Farm
        As described.
    events : sequence of Event
        Entries that stand, in order.

    Returns
    -------
    OwnRates
        Without rounds by hand.
    """
    traits, kills = tool_traits(farm), kill_table(farm)
    rules = PassRules({tool.name: tool for tool in farm.tools}, traits, kill_settings(), farm.seed)
    marked = [
        marked_weeds(count, of_pass, _as_tabled(of_pass, rules, kills))
        for count, of_pass in counted_passes(farm, events)
    ]
    return own_rates(
        farm.tools, timed_passes(farm, events, traits), timed_setups(farm, events),
        marked=_sorted(marked),
    )  # fmt: skip


def _sorted(marked: Sequence[Marked]) -> list[Marked]:
    return sorted(marked, key=lambda m: (m.event.happened_at, m.event.event_id))


def _met(
    planting: Planting,
    of_pass: Event,
    ensemble: Ensemble,
    history_of: Callable[[Planting], WeedHistory],
    seed: int,
) -> float | None:
    """Kill reckoned for a pass over a planting; None where it is not followed back so far."""
    hour = (of_pass.happened_at - ensemble.sky.start_at).total_seconds() / 3600.0
    since = planting.established_at
    if hour <= ensemble.readings_from_hour or (since and of_pass.happened_at < since):
        return None
    history = history_of(planting)
    which = np.flatnonzero(np.abs(history.passes.hour - hour) < 1e-6)
    if which.size == 0:
        return None
    count, weights = _counts(planting, ensemble, history, None, np.array([hour - _BEFORE_H]), seed)
    kill = np.broadcast_to(history.passes.kill_frac[which[0], :N_ASKED], count[:, 0].shape)
    return met_kill_frac(kill, count[:, 0], weights, in_row_share(planting))


def _as_tabled(of_pass: Event, rules: PassRules, kills: KillTable) -> float:
    """Kill of a pass that is followed no more: of seed leaves and true leaves alike."""
    tool = rules.tools[str(of_pass.data["tool"])]
    depth = float(of_pass.data.get("depth_mm", tool.depth_mm))
    nothing = np.zeros((1, 1))
    unseen = PassWeather(nothing, nothing, nothing, _UNSEEN_H, False)
    kill = tool_kill_frac(tool, kills.kill_frac, depth, np.zeros(1), unseen, rules)[0]
    weeds = np.broadcast_to(_COUNTED_STAGES, kill.shape)
    return met_kill_frac(kill, weeds, np.ones(1), 0.5)


def rounds_of(
    farm: Farm,
    planting: Planting,
    events: Sequence[Event],
    ensemble: Ensemble,
    history: WeedHistory,
    learned: LearnedWeeds | None,
) -> tuple[Timed, ...]:
    """Timed rounds by hand over one planting, beside what its weeds are reckoned with.

    Parameters
    ----------
    farm : Farm
        For its beds and days.
    planting : Planting
        The planting.
    events : sequence of Event
        Entries that stand, in order.
    ensemble : Ensemble
        Columns after their run.
    history : WeedHistory
        Openings and passes.
    learned : LearnedWeeds or None
        What looks made of the particles.

    Returns
    -------
    tuple of Timed
        Empty without a timed round in the weeks that the weeds are followed.
    """
    first = float(ensemble.readings_from_hour)
    done = rounds_by_hand(farm, planting, events, ensemble.sky, first)
    if not done:
        return ()
    hours = np.array([hour for _, hour, _ in done])
    count, weights = _counts(
        planting, ensemble, history, learned, np.maximum(hours - _BEFORE_H, first), farm.seed
    )
    share, rates = in_row_share(planting), hand_rates()
    minutes = [counted_hand_minutes(count[:, i], planting, share, rates) for i in range(hours.size)]
    return timed_rounds(done, np.stack(minutes, axis=1), weights)


def _counts(
    planting: Planting,
    ensemble: Ensemble,
    history: WeedHistory,
    learned: LearnedWeeds | None,
    hours: FloatArray,
    seed: int,
) -> tuple[FloatArray, FloatArray]:
    """Weeds at some hours by particle, (n_particles, n_hours, 2, 5), and the weights of these."""
    settings = weed_settings()
    whole = (
        draw_particles(planting.key, settings, seed, ensemble.n_members, N_PARTICLES)
        if learned is None
        else learned.particles
    )
    particles = Particles(*(getattr(whole, f.name)[:N_ASKED] for f in fields(Particles)))
    passes = history.passes
    history = replace(history, passes=replace(passes, kill_frac=passes.kill_frac[:, :N_ASKED]))
    count = counts_at(
        planting, ensemble, history, settings, np.array(GATE_KPA), particles, hours, N_SEEDS
    )
    weights = ensemble.weights[planting.bed.soil][particles.member]
    if learned is not None:
        weights = weights * learned.weight[:N_ASKED]
    return count, weights


def all_rounds(rounds: Mapping[str, tuple[Timed, ...]]) -> tuple[Timed, ...]:
    """Rounds of all plantings in order of time.

    Parameters
    ----------
    rounds : mapping
        By planting.

    Returns
    -------
    tuple of Timed
        Whatever the order of the plantings.
    """
    found = [(t.event.happened_at, key, t) for key, own in rounds.items() for t in own]
    return tuple(t for _, _, t in sorted(found, key=lambda item: item[:2]))
