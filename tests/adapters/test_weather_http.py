"""The polite fetcher against a server that replays every fault."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.adapters.weather import http
from scheduler.adapters.weather.http import Fetcher
from scheduler.errors import WeatherFetchError
from tests.adapters.weather_server import Reply, WeatherServer, faults, weather_server

NOW = datetime(2026, 3, 3, 5, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
GOOD = json.dumps({"values": [1, 2, 3]}).encode()
NEWER = json.dumps({"values": [4]}).encode()


def has_values(body: bytes, headers: Mapping[str, str]) -> None:
    """The check of these tests: JSON with values."""
    json.loads(body)["values"]


@pytest.fixture(autouse=True)
def _short_timeouts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(http, "READ_TIMEOUT_S", 0.15)
    monkeypatch.setattr(http, "CONNECT_TIMEOUT_S", 1.0)


@pytest.fixture
def server() -> Iterator[WeatherServer]:
    with weather_server(NOW) as running:
        yield running


@pytest.fixture
def waits() -> list[float]:
    return []


@pytest.fixture
def fetcher(tmp_path: Path, waits: list[float]) -> Iterator[Fetcher]:
    with Fetcher(tmp_path / "cache", "grower@example.org", sleep=waits.append) as one:
        yield one


def put(server: WeatherServer, body: bytes = GOOD, **told: object) -> str:
    """Serve a body and return its URL."""
    server.put("/f", body, content_type="application/json", **told)  # type: ignore[arg-type]
    return server.url + "/f"


def get(fetcher: Fetcher, url: str, now: datetime = NOW) -> http.Fetched:
    return fetcher.get(url, now=now, check=has_values)


def test_says_who_asks_and_hands_over_the_body(server: WeatherServer, fetcher: Fetcher) -> None:
    found = get(fetcher, put(server))
    assert (found.body, found.status, found.from_cache) == (GOOD, 200, False)
    assert (found.confirmed_at, found.fault) == (NOW, "")
    assert found.headers["content-type"] == "application/json"
    agent = server.requests[0].headers["user-agent"]
    assert agent.startswith("whitethread/")
    assert agent.endswith(" grower@example.org")


def test_does_not_ask_before_expires_and_then_asks_conditionally(
    server: WeatherServer, fetcher: Fetcher
) -> None:
    modified = NOW - timedelta(minutes=7, seconds=3)
    url = put(server, modified_at=modified, expires_in_s=1900)
    get(fetcher, url)
    early = get(fetcher, url, NOW + timedelta(seconds=1899))
    assert early.from_cache
    assert early.confirmed_at == NOW
    assert len(server.requests) == 1
    later = NOW + timedelta(seconds=1901)
    server.now = later
    again = get(fetcher, url, later)
    assert again.from_cache
    assert (again.confirmed_at, again.fault, again.body) == (later, "", GOOD)
    assert server.requests[1].headers["if-modified-since"] == "Tue, 03 Mar 2026 05:04:57 GMT"
    get(fetcher, url, later + timedelta(seconds=1890))  # the 304 brought a new Expires
    assert len(server.requests) == 2


def test_a_changed_body_takes_the_place_of_the_old(server: WeatherServer, fetcher: Fetcher) -> None:
    url = put(server, modified_at=NOW, expires_in_s=60)
    get(fetcher, url)
    put(server, NEWER, modified_at=NOW + HOUR, expires_in_s=60)
    found = get(fetcher, url, NOW + HOUR)
    assert (found.body, found.from_cache) == (NEWER, False)
    assert get(fetcher, url, NOW + HOUR).body == NEWER


def test_etag_goes_back_too(server: WeatherServer, fetcher: Fetcher) -> None:
    url = put(server, expires_in_s=0, ETag='"a1"')
    get(fetcher, url)
    get(fetcher, url, NOW + HOUR)
    assert server.requests[1].headers["if-none-match"] == '"a1"'


@pytest.mark.parametrize("name", sorted(faults(GOOD)))
def test_after_every_fault_the_last_good_body_stands_with_its_age(
    server: WeatherServer, fetcher: Fetcher, tmp_path: Path, name: str
) -> None:
    url = put(server, modified_at=NOW - HOUR, expires_in_s=60)
    get(fetcher, url)
    server.lasting_fault(faults(GOOD)[name])
    later = NOW + timedelta(hours=30)
    found = get(fetcher, url, later)
    assert (found.body, found.from_cache, found.confirmed_at) == (GOOD, True, NOW)
    assert found.fault
    fetcher.close()
    with Fetcher(tmp_path / "cache", "g", sleep=lambda _: None) as next_run:  # another morning
        found = get(next_run, url, later + HOUR)
        assert (found.body, found.confirmed_at) == (GOOD, NOW)
        assert found.fault
        server.lasting_fault(None)
        healed = get(next_run, url, later + timedelta(hours=26))
        assert (healed.confirmed_at, healed.fault) == (later + timedelta(hours=26), "")


@pytest.mark.parametrize("name", sorted(faults(GOOD)))
def test_without_a_copy_the_error_says_what_and_where(
    server: WeatherServer, fetcher: Fetcher, name: str
) -> None:
    url = put(server)
    server.lasting_fault(faults(GOOD)[name])
    with pytest.raises(WeatherFetchError, match="no earlier copy is held") as caught:
        get(fetcher, url)
    assert str(caught.value).startswith(url + ": ")
    assert "\n" not in str(caught.value)
    status = {"403": 403, "404": 404, "429": 429, "500": 500}
    answered = {"truncated gzip", "html", "wrong type", "empty json", "empty"}
    assert caught.value.status == status.get(name, 200 if name in answered else None)


def test_an_absent_file_and_a_dead_network_are_told_apart(
    server: WeatherServer, fetcher: Fetcher
) -> None:
    with pytest.raises(WeatherFetchError, match="no such file") as absent:
        get(fetcher, server.url + "/nothing")
    assert absent.value.status == 404
    with pytest.raises(WeatherFetchError) as again:
        get(fetcher, server.url + "/nothing", NOW + HOUR)
    assert again.value.status == 404
    assert len(server.requests) == 1  # believed for half a day
    server.close()
    with pytest.raises(WeatherFetchError, match="no connection") as down:
        get(fetcher, server.url + "/other")
    assert down.value.status is None


def test_a_short_fault_is_tried_again_with_growing_waits(
    server: WeatherServer, fetcher: Fetcher, waits: list[float]
) -> None:
    url = put(server)
    server.fault(Reply(b"", 503), Reply(how="reset"))
    found = get(fetcher, url)
    assert (found.body, found.fault) == (GOOD, "")
    assert waits == [1.0, 4.0]


def test_what_will_not_mend_itself_is_not_tried_again(
    server: WeatherServer, fetcher: Fetcher, waits: list[float]
) -> None:
    url = put(server)
    server.lasting_fault(Reply(b"no", 403))
    with pytest.raises(WeatherFetchError, match="your own address"):
        get(fetcher, url)
    assert (len(server.requests), waits) == (1, [])


def test_a_short_retry_after_is_waited_for(
    server: WeatherServer, fetcher: Fetcher, waits: list[float]
) -> None:
    url = put(server)
    server.fault(Reply(b"", 429, {"Retry-After": "7"}))
    assert get(fetcher, url).fault == ""
    assert waits == [7.0]


def test_a_long_retry_after_is_kept_over_runs(
    server: WeatherServer, fetcher: Fetcher, waits: list[float], tmp_path: Path
) -> None:
    url = put(server, expires_in_s=60)
    get(fetcher, url)
    server.fault(Reply(b"", 429, {"Retry-After": "7200"}))
    assert "fewer requests" in get(fetcher, url, NOW + HOUR).fault
    assert waits == []
    fetcher.close()
    with Fetcher(tmp_path / "cache", "g", sleep=waits.append) as next_run:
        held = get(next_run, url, NOW + HOUR + timedelta(minutes=119))
        assert (held.confirmed_at, held.body) == (NOW, GOOD)
        assert "not asked again yet" in held.fault
        assert len(server.requests) == 2
        later = NOW + HOUR + timedelta(minutes=121)
        assert get(next_run, url, later).confirmed_at == later


def test_retry_after_as_a_date_is_read_on_the_servers_clock(
    server: WeatherServer, fetcher: Fetcher, waits: list[float]
) -> None:
    url = put(server)
    told = {
        "Date": "Sat, 01 Jan 2000 00:00:00 GMT",
        "Retry-After": "Sat, 01 Jan 2000 00:00:09 GMT",
    }
    server.fault(Reply(b"", 503, told))
    get(fetcher, url)
    assert waits == [9.0]


@pytest.mark.parametrize("skew_d", [-400, 400])
def test_a_server_with_a_wrong_clock_changes_no_age(
    server: WeatherServer, fetcher: Fetcher, skew_d: int
) -> None:
    server.skew = timedelta(days=skew_d)
    url = put(server, modified_at=NOW, expires_in_s=1800)
    get(fetcher, url)
    assert get(fetcher, url, NOW + timedelta(seconds=1790)).confirmed_at == NOW
    assert len(server.requests) == 1
    later = NOW + timedelta(seconds=1810)
    assert get(fetcher, url, later).confirmed_at == later
    assert len(server.requests) == 2


def test_a_future_last_modified_goes_back_word_for_word(
    server: WeatherServer, fetcher: Fetcher
) -> None:
    url = put(server, modified_at=datetime(2031, 1, 1, tzinfo=UTC), expires_in_s=60)
    assert get(fetcher, url).confirmed_at == NOW
    later = NOW + HOUR
    assert get(fetcher, url, later).confirmed_at == later
    assert server.requests[1].headers["if-modified-since"] == "Wed, 01 Jan 2031 00:00:00 GMT"


def test_a_clock_set_back_asks_again(server: WeatherServer, fetcher: Fetcher) -> None:
    url = put(server, expires_in_s=3600)
    get(fetcher, url, NOW + timedelta(days=300))
    assert get(fetcher, url, NOW).confirmed_at == NOW
    assert len(server.requests) == 2


@pytest.mark.parametrize(
    ("told", "fresh_s"),
    [
        ({}, 3600.0),
        ({"Cache-Control": "public, max-age=300"}, 300.0),
        ({"Cache-Control": "s-maxage=9, max-age=300", "Expires": "0"}, 300.0),
        ({"Cache-Control": "no-store"}, 0.0),
        ({"Cache-Control": "max-age=31536000"}, 86400.0),
        ({"Expires": "0"}, 0.0),
        ({"Expires": "Tue, 03 Mar 2026 05:13:00 GMT"}, 60.0),
    ],
)
def test_how_long_a_body_holds(told: dict[str, str], fresh_s: float) -> None:
    assert http._lifetime(told, NOW) == timedelta(seconds=fresh_s)


def test_no_store_does_not_cost_the_last_good_body(server: WeatherServer, fetcher: Fetcher) -> None:
    url = put(server, **{"Cache-Control": "no-store"})
    get(fetcher, url)
    server.close()
    assert get(fetcher, url, NOW + HOUR).body == GOOD


def test_a_host_that_is_down_is_tried_once_a_run(
    server: WeatherServer, fetcher: Fetcher, waits: list[float]
) -> None:
    server.close()
    for name in "abcd":
        with pytest.raises(WeatherFetchError):
            get(fetcher, f"{server.url}/{name}")
    assert waits == [1.0, 4.0]


def test_a_damaged_cache_is_begun_afresh(server: WeatherServer, tmp_path: Path) -> None:
    (tmp_path / http.CACHE_NAME).write_bytes(b"not a database at all" * 200)
    url = put(server)
    with Fetcher(tmp_path, "g") as fetcher:
        assert get(fetcher, url).body == GOOD
    with Fetcher(tmp_path, "g") as fetcher:
        assert get(fetcher, url).from_cache


def test_a_cache_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(WeatherFetchError, match="the cache cannot be used"):
        get(Fetcher(tmp_path / "file" / "cache", "g"), "http://127.0.0.1:9/f")


def test_importing_the_fetcher_loads_no_network_library() -> None:
    code = (
        "import sys, scheduler.adapters.weather.http; "
        "print(sorted({'requests', 'requests_cache', 'pandas', 'meteostat'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
