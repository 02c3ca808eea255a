"""Polite fetching over HTTP: ask seldom, ask conditionally, wait when told, keep what was good.

Bodies are kept in a requests-cache store. Whether a copy is fresh is decided here, by the `now`
that is handed in and by what the server said, corrected for its clock: the store's own logic reads
the computer's clock, and drops its copy when a new answer fails a check.
"""

from __future__ import annotations

import json
import logging
import re
import sqlite3
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import urlsplit

import scheduler
from scheduler.errors import WeatherFetchError, WhitethreadError

Check = Callable[[bytes, Mapping[str, str]], None]

CACHE_NAME = "http.sqlite"
CONNECT_TIMEOUT_S, READ_TIMEOUT_S, WHOLE_TIMEOUT_S = 5.0, 20.0, 120.0
MOST_BYTES = 300_000_000
N_TRIES = 3
FIRST_WAIT_S, MOST_WAIT_S = 1.0, 30.0
FRESH_UNTOLD = timedelta(hours=1)  # where the server does not say how long a body holds
MOST_FRESH = timedelta(hours=24)
ABSENT_HOLDS = timedelta(hours=12)  # how long "no such file" is believed
THROTTLED_HOLDS = timedelta(minutes=10)  # after a refusal for too many requests without a time
MOST_HELD_OFF = timedelta(hours=24)
DOWN_HOLDS = timedelta(minutes=5)  # a host that did not answer is left alone so long

_GOOD, _UNCHANGED, _ABSENT, _THROTTLED = (200, 203), 304, (404, 410), 429
_BLANK = re.compile(r"\s+")


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


@dataclass(frozen=True)
class _Asked:
    """What is remembered of a URL: when it was confirmed and when it may be asked again."""

    confirmed_at: datetime | None = None
    fresh_until: datetime | None = None
    held_off_from: datetime | None = None
    held_off_until: datetime | None = None
    status: int | None = None
    fault: str = ""


@dataclass(frozen=True)
class _Failure:
    """An answer that cannot be used, or none."""

    fault: str
    status: int | None = None
    wait: timedelta | None = None  # the server's own word on when to ask again
    can_retry: bool = False
    is_down: bool = False


class Fetcher:
    """Fetches over HTTP with one cache folder; a context manager that closes it.

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
        self.user_agent = f"whitethread/{scheduler.__version__} {_BLANK.sub(' ', contact).strip()}"
        self._sleep = sleep
        self._session: Any = None
        self._asked: Any = None
        self._down: dict[str, tuple[datetime, str]] = {}

    def __enter__(self) -> Self:
        """Return the fetcher."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close connections and cache."""
        self.close()

    def close(self) -> None:
        """Close connections and cache; the next `get` opens them again."""
        if self._session is not None:
            self._asked.close()
            self._session.close()
        self._session = self._asked = None

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
        `WhitethreadError`) with the reason if the body is not what it should be. A body that fails
        never takes the place of one that passed.

        Raises
        ------
        WeatherFetchError
            If nothing can be had and nothing is held; `status` is the answer's, None without one.
        """
        self._open()
        asked = self._remembered(url)
        held = self._held(url, asked, check)
        if held is not None and _is_within(now, asked.confirmed_at, asked.fresh_until):
            return held
        failure = self._reason_not_to_ask(url, asked, now)
        if failure is None:
            answer = self._asked_politely(url, dict(headers or {}), held, now, check)
            if isinstance(answer, Fetched):
                self._down.pop(_host(url), None)
                return answer
            failure = answer
            self._remember_failure(url, asked, failure, now)
        if held is None:
            raise WeatherFetchError(
                f"{url}: {failure.fault}; no earlier copy is held, so the answer goes without it",
                failure.status,
            )
        return Fetched(held.body, held.headers, held.status, True, held.confirmed_at, failure.fault)

    # ---------------------------------------------------------------- asking

    def _reason_not_to_ask(self, url: str, asked: _Asked, now: datetime) -> _Failure | None:
        """Why the server is left alone for now, or None."""
        if _is_within(now, asked.held_off_from, asked.held_off_until):
            return _Failure(f"{asked.fault} (not asked again yet)", asked.status)
        at, fault = self._down.get(_host(url), (None, ""))
        if at is not None and _is_within(now, at, at + DOWN_HOLDS):
            return _Failure(f"{fault} (its server is not asked again yet)")
        return None

    def _asked_politely(
        self, url: str, headers: dict[str, str], held: Fetched | None, now: datetime, check: Check
    ) -> Fetched | _Failure:
        """The answer of the server after at most `N_TRIES` tries."""
        headers["User-Agent"] = self.user_agent
        if held is not None:
            for validator, condition in (
                ("Last-Modified", "If-Modified-Since"),
                ("ETag", "If-None-Match"),
            ):
                if validator in held.headers:
                    headers[condition] = held.headers[validator]
        answer: Fetched | _Failure = _Failure("was not asked")
        for i_try in range(N_TRIES):
            answer = self._asked_once(url, headers, held, now, check)
            if isinstance(answer, Fetched) or not answer.can_retry or i_try == N_TRIES - 1:
                break
            wait_s = FIRST_WAIT_S * 4.0**i_try
            if answer.wait is not None:
                wait_s = max(wait_s, answer.wait.total_seconds())
            if wait_s > MOST_WAIT_S:
                break
            self._sleep(wait_s)
        return answer

    def _asked_once(
        self,
        url: str,
        headers: Mapping[str, str],
        held: Fetched | None,
        now: datetime,
        check: Check,
    ) -> Fetched | _Failure:
        """The answer to one request, checked and stored."""
        import requests

        try:
            with self._session.cache_disabled():
                response = self._session.get(
                    url, headers=headers, timeout=(CONNECT_TIMEOUT_S, READ_TIMEOUT_S), stream=True
                )
            try:
                _read_body(response)
            finally:
                response.close()
        except requests.RequestException as error:
            is_down = isinstance(error, requests.ConnectionError | requests.Timeout)
            is_broken = isinstance(
                error,
                requests.exceptions.ChunkedEncodingError | requests.exceptions.ContentDecodingError,
            )
            return _Failure(_plain(error), can_retry=is_down or is_broken, is_down=is_down)
        return self._judged(url, response, held, now, check)

    def _judged(
        self, url: str, response: Any, held: Fetched | None, now: datetime, check: Check
    ) -> Fetched | _Failure:
        """A response as what it means."""
        status = int(response.status_code)
        if status == _UNCHANGED and held is not None:
            merged = _merged(held.headers, response.headers)
            self._remember_good(url, merged, held.status, now)
            return Fetched(held.body, merged, held.status, True, now)
        if status not in _GOOD:
            wait = _retry_after(response.headers, now)
            can_retry = status == _THROTTLED or status >= 500
            return _Failure(_status_words(status, response.reason), status, wait, can_retry)
        body = bytes(response.content)
        fault = _fault_of(body, response.headers, check)
        if fault:
            return _Failure(f"the answer cannot be used: {fault}", status)
        try:
            self._session.cache.save_response(response, url)
        except sqlite3.Error as error:
            logging.getLogger(__name__).warning("%s: not cached (%s)", url, error)
        self._remember_good(url, response.headers, status, now)
        return Fetched(body, response.headers, status, False, now)

    # ----------------------------------------------------------- remembering

    def _open(self) -> None:
        """Open the store; one that is damaged is begun afresh, for it is only a cache."""
        if self._session is not None:
            return
        path = self.cache_folder / CACHE_NAME
        try:
            self.cache_folder.mkdir(parents=True, exist_ok=True)
            try:
                self._opened(path)
            except sqlite3.DatabaseError:
                path.unlink()
                self._opened(path)
        except (OSError, sqlite3.Error) as error:
            self._session = self._asked = None
            raise WeatherFetchError(
                f"{self.cache_folder}: the cache cannot be used ({error}); check the disk and the "
                "rights to the folder"
            ) from error

    def _opened(self, path: Path) -> None:
        """Open the two tables of the store and read them once."""
        from requests_cache import CachedSession
        from requests_cache.backends.sqlite import SQLiteDict

        session = CachedSession(str(path), backend="sqlite", serializer="json", expire_after=-1)
        try:
            asked = SQLiteDict(str(path), "asked", serializer=None)
            len(asked), len(session.cache.responses)
        except BaseException:
            session.close()  # type: ignore[no-untyped-call]
            raise
        self._session, self._asked = session, asked

    def _held(self, url: str, asked: _Asked, check: Check) -> Fetched | None:
        """The copy held of a URL, if it still passes the check."""
        if asked.confirmed_at is None:
            return None
        try:
            response = self._session.cache.get_response(url)
        except (sqlite3.Error, ValueError, LookupError, TypeError):
            return None
        if response is None:
            return None
        body = bytes(response.content)
        if _fault_of(body, response.headers, check):
            return None
        return Fetched(body, response.headers, response.status_code, True, asked.confirmed_at)

    def _remembered(self, url: str) -> _Asked:
        """What is remembered of a URL."""
        try:
            stored = json.loads(self._asked[url])
            moments = {
                name: None if stored[name] is None else datetime.fromisoformat(stored[name])
                for name in ("confirmed_at", "fresh_until", "held_off_from", "held_off_until")
            }
            return _Asked(**moments, status=stored["status"], fault=stored["fault"])
        except (sqlite3.Error, KeyError, ValueError, TypeError):
            return _Asked()

    def _remember(self, url: str, asked: _Asked) -> None:
        """Store what is to be remembered; without it the next run only asks once more."""
        stored = {
            name: value.isoformat() if isinstance(value, datetime) else value
            for name, value in vars(asked).items()
        }
        try:
            self._asked[url] = json.dumps(stored)
        except sqlite3.Error as error:
            logging.getLogger(__name__).warning("%s: not remembered (%s)", url, error)

    def _remember_good(
        self, url: str, headers: Mapping[str, str], status: int, now: datetime
    ) -> None:
        """Store that the body was confirmed now, and how long it holds."""
        self._remember(url, _Asked(now, now + _lifetime(headers, now), status=status))

    def _remember_failure(self, url: str, asked: _Asked, failure: _Failure, now: datetime) -> None:
        """Store how long the server wants to be left alone, or that it is down."""
        if failure.is_down:
            self._down[_host(url)] = (now, failure.fault)
        hold = failure.wait
        if hold is None and failure.status in _ABSENT:
            hold = ABSENT_HOLDS
        elif hold is None and failure.status == _THROTTLED:
            hold = THROTTLED_HOLDS
        if hold is not None:
            until = now + min(hold, MOST_HELD_OFF)
            self._remember(
                url,
                _Asked(
                    asked.confirmed_at, asked.fresh_until, now, until, failure.status, failure.fault
                ),
            )


# -------------------------------------------------------------------- answers


def _host(url: str) -> str:
    """Host and port of a URL."""
    return urlsplit(url).netloc


def _is_within(now: datetime, start: datetime | None, end: datetime | None) -> bool:
    """Whether `now` lies in [start, end); not when the clock was set back before `start`."""
    return start is not None and end is not None and start <= now < end


def _read_body(response: Any) -> None:
    """Read a streamed response, within a time and a size, into its `content`."""
    import requests

    end_s = time.monotonic() + WHOLE_TIMEOUT_S
    parts: list[bytes] = []
    n_bytes = 0
    for part in response.iter_content(65536):
        parts.append(part)
        n_bytes += len(part)
        if n_bytes > MOST_BYTES:
            raise requests.RequestException(f"more than {MOST_BYTES // 1_000_000} MB were sent")
        if time.monotonic() > end_s:
            raise requests.Timeout(f"not all had come after {WHOLE_TIMEOUT_S:g} s")
    response._content = b"".join(parts)
    response._content_consumed = True


def _fault_of(body: bytes, headers: Mapping[str, str], check: Check) -> str:
    """Why a body fails its check; empty if it passes."""
    try:
        check(body, headers)
    except (ValueError, LookupError, TypeError, WhitethreadError) as error:
        return _BLANK.sub(" ", str(error)).strip()[:200] or type(error).__name__
    return ""


def _status_words(status: int, reason: str | None) -> str:
    """A status in words a grower can act on."""
    words = {
        403: "the server refuses us (403); see that `contact` in farm.toml is your own address",
        404: "the server has no such file (404)",
        410: "the server has no such file any more (410)",
        429: "the server asks for fewer requests (429)",
    }
    return words.get(status, f"the server answered {status} {reason or ''}".strip())


def _plain(error: Exception) -> str:
    """What went wrong on the way, in a few words."""
    import requests

    if isinstance(error, requests.ConnectTimeout):
        return f"no connection within {CONNECT_TIMEOUT_S:g} s"
    if isinstance(error, requests.Timeout) or "Read timed out" in str(error):
        return f"no answer within {READ_TIMEOUT_S:g} s"
    if isinstance(error, requests.exceptions.SSLError):
        return "the connection is not trusted (certificate)"
    if isinstance(error, requests.exceptions.ChunkedEncodingError):
        return "the connection broke off"
    if isinstance(error, requests.ConnectionError):
        return "no connection"
    return _BLANK.sub(" ", str(error)).strip()[:200] or type(error).__name__


def _merged(held: Mapping[str, str], sent: Mapping[str, str]) -> Mapping[str, str]:
    """Headers of the copy held, brought up to date by those of a 304."""
    from requests.structures import CaseInsensitiveDict

    merged: CaseInsensitiveDict[str] = CaseInsensitiveDict(held)
    for name, value in sent.items():
        if name.lower() not in ("content-length", "content-encoding", "transfer-encoding"):
            merged[name] = value
    return merged


def _http_moment(text: str | None) -> datetime | None:
    """A moment of an HTTP header; None if there is none that can be read."""
    if text is None:
        return None
    try:
        moment = parsedate_to_datetime(text)
    except (ValueError, TypeError, OverflowError):
        return None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _lifetime(headers: Mapping[str, str], now: datetime) -> timedelta:
    """How long a body holds: by Cache-Control or Expires, on the server's own clock."""
    control = headers.get("Cache-Control", "").lower()
    if "no-cache" in control or "no-store" in control:
        return timedelta()
    max_age = re.search(r"(?<![-\w])max-age\s*=\s*\"?(\d{1,9})", control)
    if max_age is not None:
        told = timedelta(seconds=int(max_age[1]))
    elif "Expires" in headers:
        expires = _http_moment(headers["Expires"])
        if expires is None:
            return timedelta()  # "0" and the like: expired already
        told = expires - (_http_moment(headers.get("Date")) or now)
    else:
        return FRESH_UNTOLD
    return min(max(told, timedelta()), MOST_FRESH)


def _retry_after(headers: Mapping[str, str], now: datetime) -> timedelta | None:
    """How long the server asks to wait; None if it does not say."""
    text = headers.get("Retry-After", "").strip()
    if text.isdecimal():
        return min(timedelta(seconds=min(int(text), 10**8)), MOST_HELD_OFF)
    moment = _http_moment(text or None)
    if moment is None:
        return None
    wait = moment - (_http_moment(headers.get("Date")) or now)
    return min(max(wait, timedelta()), MOST_HELD_OFF)
