"""A logged season played again under other rules, for the review."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.errors import UsageError
from scheduler.planning.season.garden import logged_passes
from scheduler.planning.season.replay import drawn_truths, logged_hours, replay_rules, replayed
from scheduler.ports import Progress
from scheduler.records import Event, Farm, Replay, WeatherSeries
from scheduler.service.garden import season_on_record

N_TRUTHS = 3
REPLAY_NOTES = (
    "All rules had the same plantings, weather, hand weeding and hidden truths, at no date more "
    "minutes with tools than were logged by then; they went out on logged days, when an hour "
    "had come together.",
    "Hand weeding goes by one rule in all of them, the logged season too: a look every week, and a "
    "round where grown weeds stand. So the minutes are not those that were logged by hand: read "
    "the differences. Against such rounds all passes together may come to less than what each of "
    "them saved in the rounds that were logged.",
    "The list knew the weather so far, a forecast like those of its day and no look at the weeds; "
    "its passes were chosen once, for soil and weeds as the tables have them, and made again in "
    "every truth. The eyes saw every weed of every bed without error.",
    "Played inside the program's own model of weeds and soil: what holds if the model is right.",
)


def replays(
    farm: Farm,
    events: Sequence[Event],
    series: WeatherSeries,
    *,
    n_truths: int = N_TRUTHS,
    progress: Progress | None = None,
) -> tuple[Replay, ...]:
    """Play a season again: as logged, without a pass, by the calendar, by eye, and by the list.

    Parameters
    ----------
    farm : Farm
        The farm.
    events : sequence of Event
        Entries of the season that stand, in order of happening.
    series : WeatherSeries
        Weather on record of the season, from before its first preparation on; all of it past.
    n_truths : int
        Hidden truths that every rule is played against.
    progress : Progress, optional
        Told how far it is.

    Returns
    -------
    tuple of Replay
        As logged first; empty where nothing was sown or set within the weather. `REPLAY_NOTES` say
        what they mean.

    Raises
    ------
    UsageError
        If there is no truth.
    """
    if n_truths < 1:
        raise UsageError(f"replays: {n_truths} truths; give one or more")
    told = progress or (lambda message, done_frac: None)
    told("the season's beds", 0.0)
    try:
        season = season_on_record(farm, events, series, series.start_at.year)
    except UsageError:
        return ()
    world = season.world
    logged = logged_passes(world, events)
    hours = logged_hours(world, logged)
    price = farm.work.machine_price
    rules = replay_rules(
        world, price, hours, lambda done: told("what the list would have named", 0.2 + 0.4 * done)
    )
    truths = drawn_truths(world, n_truths)
    return replayed(
        world, logged, truths, rules, hours,
        lambda done: told("the season under other rules", 0.6 + 0.4 * done),
    )  # fmt: skip
