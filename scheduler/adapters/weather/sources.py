"""Which services are asked for weather, with whose consent, and what they are sent."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from scheduler.adapters.weather import metno, nws, openmeteo, stations
from scheduler.adapters.weather.http import Fetched, Fetcher
from scheduler.errors import UsageError
from scheduler.records import Farm, Forecast, Place

STATIONS = "stations"
# how values of the archive are called: of one station, with its distance, or of several
STATION_LABEL = re.compile(r" \(\w+\), (\d+) km(?:, \d+ m (?:higher|lower))?$")
ARCHIVE_LABEL = re.compile(r" \(\w+\), \d+ km(?:,|$)|^\d+ stations within \d+ km$")


@dataclass(frozen=True)
class Source:
    """A service that is asked.

    `condition` is what its licence asks of the grower, `attribution` what its licence asks to print
    with the data. `takes_place` is whether it is sent coordinates.
    """

    key: str
    name: str
    host: str
    attribution: str
    condition: str = ""
    takes_place: bool = True


SOURCES: Mapping[str, Source] = {
    source.key: source
    for source in (
        Source(
            STATIONS,
            "Meteostat, observations of weather stations",
            "data.meteostat.net",
            "Source: Meteostat and its data providers (CC BY 4.0)",
            takes_place=False,
        ),
        Source(
            "metno",
            f"{metno.NAME}, forecast",
            "api.met.no",
            "Based on data from MET Norway (NLOD 2.0, CC BY 4.0)",
        ),
        Source(
            "nws",
            f"{nws.NAME}, forecast",
            "api.weather.gov",
            "Forecast: US National Weather Service (public domain)",
        ),
        Source(
            "openmeteo",
            f"{openmeteo.NAME}, forecast",
            "api.open-meteo.com",
            "Weather data by Open-Meteo.com (CC BY 4.0, https://open-meteo.com/)",
            openmeteo.CONDITION,
        ),
    )
}
_NAMED: Mapping[str, str] = {
    metno.NAME: "metno",
    nws.NAME: "nws",
    openmeteo.NAME: "openmeteo",
}
# south, north, west, east [deg]; a box also holds some of its neighbours, whom the service refuses
_US_BOXES = (
    (24.4, 49.4, -125.0, -66.9),
    (51.0, 71.5, -180.0, -129.9),
    (18.8, 22.4, -160.4, -154.7),
    (17.6, 18.6, -67.4, -64.5),
    (13.2, 13.7, 144.6, 145.0),
)


def is_in_us(place: Place) -> bool:
    """Whether a place may lie where the US weather service forecasts.

    Examples
    --------
    >>> is_in_us(Place(40.78, -73.97, 12.0, "America/New_York"))
    True
    >>> is_in_us(Place(51.5, -0.1, 11.0, "Europe/London"))
    False
    """
    return any(
        south <= place.latitude_deg <= north and west <= place.longitude_deg <= east
        for south, north, west, east in _US_BOXES
    )


def forecast_keys(place: Place, weather: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the forecast services to be asked, the next one only where the one before fails.

    What the farm file names is asked alone; without a word there it is MET Norway, then, in the US,
    its weather service. Open-Meteo is asked only where it is named.

    Examples
    --------
    >>> forecast_keys(Place(40.78, -73.97, 12.0, "America/New_York"), {})
    ('metno', 'nws')
    >>> forecast_keys(Place(59.91, 10.75, 24.0, "Europe/Oslo"), {"forecast": "none"})
    ()
    """
    named = weather.get("forecast")
    if named == "none":
        return ()
    if named is not None:
        return (str(named),)
    return ("metno", "nws") if is_in_us(place) else ("metno",)


def asked_keys(place: Place, weather: Mapping[str, Any]) -> tuple[str, ...]:
    """Return every service that a farm with this [weather] may ask."""
    return (STATIONS, *forecast_keys(place, weather))


def has_consent(farm: Farm) -> bool:
    """Whether the farm file lets weather be asked for."""
    return farm.weather.get("consent") is True


def require_consent(farm: Farm) -> None:
    """Refuse to ask anybody without the grower's consent.

    Raises
    ------
    UsageError
        If the farm file does not give it; what would be sent where is told.
    """
    if has_consent(farm):
        return
    hosts = " and ".join(SOURCES[key].host for key in asked_keys(farm.place, farm.weather))
    raise UsageError(
        "weather: nothing was asked, since farm.toml does not say consent = true in [weather]; "
        f"with it, your rounded place and contact address go to {hosts}; without it, use "
        "`whitethread log rain`, `log temp` and `weather import`"
    )


def rounded_place(place: Place) -> str:
    """Return a place as it is sent: two decimals, which is about a kilometre, and whole metres.

    Examples
    --------
    >>> rounded_place(Place(-33.8688, 151.2093, 3.4, "Australia/Sydney"))
    'latitude -33.87, longitude 151.21, height 3 m'
    """
    latitude, longitude = (
        round(degrees, 2) + 0.0 for degrees in (place.latitude_deg, place.longitude_deg)
    )
    return (
        f"latitude {latitude:.2f}, longitude {longitude:.2f}, height {round(place.elevation_m)} m"
    )


def what_is_sent(place: Place, keys: Iterable[str]) -> tuple[str, ...]:
    """Return in plain words what goes to whom, one sentence or two a service.

    Parameters
    ----------
    place
        Where the farm lies.
    keys
        The services, as `asked_keys` names them.
    """
    sentences = []
    for key in keys:
        source = SOURCES[key]
        sent = (
            rounded_place(place)
            if source.takes_place
            else "names of the weather stations near you, from which your area can be guessed"
        )
        condition = f" {source.condition}." if source.condition else ""
        sentences.append(f"To {source.host} ({source.name}): {sent}.{condition}")
    sentences.append(
        "To each of them also your contact address, the version of this program and, as with every "
        "page you open, the internet address of your line. Beds, crops and journal go to nobody."
    )
    return tuple(sentences)


def attribution_lines(source_names: Iterable[str]) -> tuple[str, ...]:
    """Return what licences ask to print with forecasts of these sources, each once.

    Examples
    --------
    >>> attribution_lines(["MET Norway", "own gauge"])
    ('Based on data from MET Norway (NLOD 2.0, CC BY 4.0)',)
    """
    keys = [_NAMED[name] for name in source_names if name in _NAMED]
    return tuple(SOURCES[key].attribution for key in dict.fromkeys(keys))


def credit_lines(sources: Sequence[str]) -> tuple[str, ...]:
    """What the licences of the sources of a series ask to print, each once.

    Parameters
    ----------
    sources
        Names as `WeatherSeries.sources` gives them.

    Returns
    -------
    tuple of str
        Empty where all of it is the grower's own.
    """
    observed = any(ARCHIVE_LABEL.search(source) for source in sources)
    archive = (SOURCES[STATIONS].attribution,) if observed else ()
    return (*archive, *attribution_lines(sources))


def full_credit(credit: str) -> str:
    """A line of credit with the address of the licence and what was changed, where it asks for it.

    Examples
    --------
    >>> full_credit("Based on data from MET Norway (NLOD 2.0, CC BY 4.0)")
    'Based on data from MET Norway (NLOD 2.0, CC BY 4.0)'
    """
    if credit != SOURCES[STATIONS].attribution:
        return credit
    return f"Source: Meteostat and its data providers ({stations.LICENCE}); {stations.CHANGES}"


def fetch_forecast(
    key: str, place: Place, fetcher: Fetcher, now: datetime
) -> tuple[Forecast, Fetched]:
    """Ask one service for its forecast; also how the answer came.

    Raises
    ------
    WeatherFetchError
        If nothing usable can be had.
    """
    services: Sequence[Any] = (metno, nws, openmeteo)
    by_key = {_NAMED[service.NAME]: service for service in services}
    found: tuple[Forecast, Fetched] = by_key[key].fetch_forecast(place, fetcher, now)
    return found
