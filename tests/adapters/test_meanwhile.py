"""Replays of a season in a process of their own."""

from __future__ import annotations

from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

import pytest

from scheduler.adapters.meanwhile import replayed, replays_meanwhile
from tests.planning.season.test_garden import JOURNAL
from tests.scenes.test_compare_scenes import grower, series


def test_another_process_plays_the_same_season() -> None:
    with replays_meanwhile() as begin:
        waits = begin(grower(), JOURNAL, series())
        assert waits() == replayed(grower(), JOURNAL, series())


def test_a_process_that_dies_leaves_its_work_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def died(*_: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_exception(BrokenProcessPool("killed"))
        return future

    monkeypatch.setattr(ProcessPoolExecutor, "submit", died)
    passes = [e for e in JOURNAL if e.kind == "pass"]  # nothing was sown: nothing to play
    with replays_meanwhile() as begin:
        assert begin(grower(), passes, series())() == ()
