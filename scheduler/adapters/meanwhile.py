"""Playing a season again in a process of its own while its beds are read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scheduler.records import Event, Farm, Replay, WeatherSeries

    Played = tuple[Replay, ...]


def replayed(farm: Farm, events: Sequence[Event], series: WeatherSeries) -> Played:
    """The season under other rules; named here so that the other process finds it."""
    from scheduler.service.replay import replays

    return replays(farm, events, series)


@contextmanager
def replays_meanwhile() -> Iterator[Callable[..., Callable[[], Played]]]:
    """What begins the replays of a season in another process, for `season_review`.

    Where that process dies, as for want of memory, they are played here when they are asked for.
    The process is left to itself where nobody asks any more.
    """
    executor = ProcessPoolExecutor(1, mp_context=get_context("spawn"))

    def begin(farm: Farm, events: Sequence[Event], series: WeatherSeries) -> Callable[[], Played]:
        future = executor.submit(replayed, farm, events, series)

        def played() -> Played:
            try:
                return future.result()
            except BrokenProcessPool:
                return replayed(farm, events, series)

        return played

    try:
        yield begin
    finally:
        executor.shutdown(wait=False, cancel_futures=True)
