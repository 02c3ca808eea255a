"""Polite fetching over HTTP: ask seldom, ask conditionally, wait when told to, keep what was good."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

Check = Callable[[bytes, Mapping[str, str]], None]


@dataclass(frozen=True)
class Fetched:
    """A body that passed its check.

    `confirmed_at` is when the server last sent it or said that it still holds. `fault` says why the
    server's present answer was not used; it is empty where all went well. Names in `headers` are
    looked up without regard to case.
    """

    body: bytes
    headers: Mapping[str, str]
    status: int
    from_cache: bool
    confirmed_at: datetime
    fault: str = ""


class Fetcher:
    """Fetches over HTTP with one cache folder.

    Parameters
    ----------
    cache_folder
        Folder of the HTTP cache; made where missing. May be deleted at any time.
    contact
        Address of the grower, sent with every request.
    sleep
        Waits between tries [s].
    """

    def __init__(
        self, cache_folder: Path, contact: str, *, sleep: Callable[[float], None] = time.sleep
    ) -> None:
        self.cache_folder = Path(cache_folder)
        self.contact = contact
        self._sleep = sleep

    def get(
        self,
        url: str,
        *,
        headers: Mapping[str, str] | None = None,
        now: datetime,
        check: Check,
    ) -> Fetched:
        """The body of `url`, from the cache while it is fresh; the last good one on any fault.

        `check` gets body and headers and raises `ValueError` (or `LookupError`, `TypeError`, any
        `WhitethreadError`) with the reason if the body is not what it should be.

        Raises
        ------
        WeatherFetchError
            If nothing can be had and nothing is held; `status` is the answer's, None without one.
        """
        raise NotImplementedError
