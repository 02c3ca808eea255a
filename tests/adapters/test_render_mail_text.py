"""The text part of the mail, its news and its subject."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from scheduler.adapters.render.mail_text import mail_text
from scheduler.adapters.render.news_words import news_pieces, subject_line
from scheduler.adapters.render.text import today_text
from scheduler.records import ListLine, Morning, MorningNews, Range
from tests.adapters.mail_made import NEWS, NOTICES, NOW, ZONE, morning

NONE = MorningNews()


# --------------------------------------------------------------------- text


@pytest.mark.parametrize("name", ["spring", "wet"])
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("width", [72, 40])
def test_no_line_is_longer_than_the_page(name: str, units: str, width: int) -> None:
    found = morning(name)
    found = replace(found, farm=replace(found.farm, units=units))
    lines = mail_text(found, NEWS, NOTICES, width).splitlines()
    assert max(len(line) for line in lines if "whitethread" not in line) <= width


def test_what_is_wrong_and_what_is_new_come_before_the_list() -> None:
    text = mail_text(morning(), NEWS, NOTICES)
    assert text.splitlines()[0] == NOTICES[0]
    places = [
        text.index(part)
        for part in (
            NOTICES[0],
            "Yesterday: nothing logged, taken as not done: 1 B4, 2 B2/north, 5 A3.",
            "whitethread done 1 2 5 --of yesterday",
            NEWS.corrections[0],
            "Tuesday 14 May, Alder Bend",
            "Do, in this order",
            " 1 B4 ",
            " 8 B3 ",
            "Not reached",
            "Wait ",
            "Look ",
            "Hours ",
            "Caution ",
            "Weather ",
            "Data ",
            "Tonight ",
        )
    ]
    assert places == sorted(places)


def test_first_line_after_a_silent_day() -> None:
    assert mail_text(morning(), NEWS).splitlines()[0].startswith("Yesterday: nothing logged, taken")


def test_the_list_is_that_of_the_page() -> None:
    """Between the news and the foot the mail says what `today` says at 72 columns."""
    found = morning()
    page = today_text(found, 72)
    text = mail_text(found, NEWS, NOTICES)
    assert page[: page.index("Caution ")] in text


def test_credits_of_the_weather_are_always_there() -> None:
    """However many notes there are, those who gave the data are named."""
    found = morning()
    notes = tuple(f"Note {number} on the weather, " + "long " * 12 for number in range(9))
    found = replace(found, weather=replace(found.weather, notes=notes))
    text = " ".join(mail_text(found, NONE).split())
    assert "Surface observations, public domain." in text
    assert "5 more: whitethread weather show." in text


def test_the_hours_are_told_in_words() -> None:
    text = " ".join(mail_text(morning(), NONE).split())
    assert "14 mm of rain since Mon 05:00, the last before Mon 23:00." in text
    assert "Until Thu 05:00 about 6.0 mm of rain, most of it 19:00-21:00." in text
    assert "sandy loam now to 18:00; silt loam 10:00-18:00; clay loam 15:00-18:00." in text
    assert "Your hours: 07:00-19:00, Wed 07:00-19:00." in text
    assert "Hours " not in mail_text(morning(has_strip=False), NONE)


def test_whom_to_ask() -> None:
    assert "Ask          Kim" in mail_text(morning(), NONE, contact="Kim")
    assert "Ask " not in mail_text(morning(), NONE)


def test_a_morning_without_a_list_asks_for_no_ticks() -> None:
    text = mail_text(morning("wet"), NONE)
    assert "Nothing to cultivate today." in text
    assert "Tonight" not in text


# --------------------------------------------------------------------- news


def test_days_of_silence_are_counted_and_the_list_is_named() -> None:
    friday = date(2013, 5, 10)
    news = replace(NEWS, list_on=friday, silent_on=friday, n_silent_days=4)
    first = news_pieces(morning(), news)[0]
    assert first.text.startswith("Since Fri 10 May: nothing logged for 4 days, taken as not done")
    assert first.command == "whitethread done 1 2 5 --of 2013-05-10"


def test_a_list_without_lines_asks_for_nothing() -> None:
    pieces = news_pieces(morning(), MorningNews(silent_on=date(2013, 5, 13), n_silent_days=1))
    assert [(piece.text, piece.command) for piece in pieces] == [("Yesterday: nothing logged.", "")]


@pytest.mark.parametrize(
    ("list_on", "words", "command"),
    [
        (date(2013, 5, 13), "Yesterday's list", "whitethread done 3 --of yesterday"),
        (date(2013, 5, 10), "The list of Fri 10 May", "whitethread done 3 --of 2013-05-10"),
        (None, "The list before", ""),
    ],
)
def test_lines_left_open_beside_others_that_were_logged(
    list_on: date | None, words: str, command: str
) -> None:
    news = MorningNews(unlogged=(ListLine(3, "A2", None, "sweeps"),), list_on=list_on)
    (piece,) = news_pieces(morning(), news)
    assert piece.text == f"{words}: not logged, taken as not done: 3 A2."
    assert piece.command == command


def test_of_a_long_list_the_rows_are_named_and_the_rest_counted() -> None:
    lines = tuple(ListLine(place, f"A{place}", None, "sweeps") for place in range(29, 0, -1))
    (piece,) = news_pieces(morning(), MorningNews(unlogged=lines, list_on=date(2013, 5, 13)))
    assert piece.text.endswith("7 A7, 8 A8 and 21 more.")
    assert piece.command == "whitethread done 1 2 3 4 5 6 7 8 --of yesterday"


def test_corrections_are_in_the_growers_units() -> None:
    found = morning()
    (_, piece) = news_pieces(replace(found, farm=replace(found.farm, units="us")), NEWS)
    assert piece.text == "Yesterday's list had no rain in sight; 0.6 in fell from 19:00."


def test_no_news_says_nothing() -> None:
    assert news_pieces(morning(), NONE) == []
    assert mail_text(morning(), NONE).startswith("Tuesday 14 May")


# ------------------------------------------------------------------ subject


def test_the_subject_tells_the_day() -> None:
    assert subject_line(morning(), NONE) == (
        "Tue 14 May: 8 beds, 3 dry now, all from 10:30, rain at 18"
    )


def fit_from(moment: datetime | None, n_beds: int = 4) -> str:
    """The subject of a morning with so many beds, all fit from a moment on."""
    found = morning()
    go = [bed for bed in found.beds if bed.verdict == "go"][:n_beds]
    beds = tuple(replace(bed, soil=replace(bed.soil, workable_from=moment)) for bed in go)
    return subject_line(replace(found, beds=beds, not_reached=()), NONE)


def test_one_hour_for_all_beds() -> None:
    assert fit_from(datetime(2013, 5, 14, 11, 0, tzinfo=ZONE)).startswith(
        "Tue 14 May: 4 beds, dry from 11, rain at 18"
    )
    assert fit_from(NOW, 1).startswith("Tue 14 May: 1 bed, dry now, rain at 18")


def test_beds_tried_before_they_are_surely_fit_count_from_their_hour() -> None:
    """Surely fit tomorrow alone: the hour in which the list begins them is told, not called dry."""
    assert fit_from(NOW + timedelta(days=1), 2).startswith("Tue 14 May: 2 beds, from 10:30, rain")
    assert fit_from(None, 2).startswith("Tue 14 May: 2 beds, from 10:30, rain")


def test_bad_days_are_told_in_the_subject() -> None:
    assert subject_line(morning("wet"), NONE) == (
        "Tue 14 May: nothing to do, wet until Wed noon, weather 2 days old, no forecast"
    )
    found = morning("wet")
    aged = replace(found, weather=replace(found.weather, age_h=31.0), beds=())
    assert subject_line(aged, NONE) == "Tue 14 May: nothing to do, weather 31 h old, no forecast"
    never = replace(found, weather=replace(found.weather, age_h=None), beds=())
    assert "no weather reading" in subject_line(never, NONE)


def silent(hours: float, forecast_hours: float = 1.0) -> Morning:
    """A morning with lines whose weather was last read so long before."""
    found = morning()
    last, issued = (NOW - timedelta(hours=h) for h in (hours, forecast_hours))
    weather = replace(found.weather, last_observed=last, age_h=hours, forecast_issued=issued)
    return replace(found, weather=weather)


def test_old_weather_comes_before_all_else_and_no_soil_is_called_dry() -> None:
    text = " ".join(mail_text(silent(74.0), NONE).split())
    told = "No weather has been read since Sat 11 May 03:30: rain since then is not known. "
    assert f"as of 05:30 {told}Try the soil before you start. 3 h to work." in text
    assert subject_line(silent(74.0), NONE) == (
        "Tue 14 May: 8 beds, weather 3 days old, rain at 18"
    )
    assert "has been read" not in mail_text(silent(23.0), NONE)


def test_an_old_forecast_says_nothing_of_the_day() -> None:
    text = " ".join(mail_text(silent(74.0, 73.0), NONE).split())
    assert "not known. The newest forecast is 3 days old. Try the soil" in text
    assert subject_line(silent(74.0, 73.0), NONE) == (
        "Tue 14 May: 8 beds, weather 3 days old, no new forecast"
    )


def test_beds_that_wait_for_hours_are_told() -> None:
    found = morning()
    beds = tuple(replace(bed, verdict="wait", because="no_hours") for bed in found.beds[:5])
    free = replace(found, beds=beds, not_reached=(), hours_available=0.0)
    assert subject_line(free, NONE).startswith("Tue 14 May: no hours, 5 beds waiting, rain")
    text = mail_text(free, NONE)
    assert "No working hours today." in text
    assert "no hours today: " in text


def test_soil_fit_after_the_hours_of_its_line_is_not_awaited() -> None:
    """Surely fit at 21:00, after work: the bed counts from the hour its line begins."""
    assert fit_from(NOW.replace(hour=21, minute=0), 2).startswith("Tue 14 May: 2 beds, from 10:30")


def test_a_day_without_hours_is_told() -> None:
    found = morning()
    left = tuple(bed for bed in found.beds if bed.verdict == "go")
    free = replace(found, beds=(), not_reached=left, hours_available=0.0)
    assert subject_line(free, NONE).startswith("Tue 14 May: no hours, 8 beds worth a pass")


@pytest.mark.parametrize(
    ("after", "words"),
    [
        (None, "no rain"),
        (timedelta(0), "rain soon"),
        (timedelta(hours=7), "rain at 12:30"),
        (timedelta(hours=19), "rain Wed at 0:30"),
    ],
)
def test_rain_in_the_subject(after: timedelta | None, words: str) -> None:
    found = morning()
    assert found.rain_ahead is not None
    start = None if after is None else NOW + after
    ahead = replace(found.rain_ahead, from_at=start, rain_mm=Range(0.0, 1.0, 2.0))
    assert subject_line(replace(found, rain_ahead=ahead), NONE).endswith(words)


def test_more_is_said_only_where_there_is_room() -> None:
    wrong = MorningNews(corrections=("Yesterday's list had no rain in sight; 14 mm fell.",))
    assert fit_from(NOW, 1).endswith("rain at 18")
    found = morning()
    beds = tuple(bed for bed in found.beds if bed.bed == "B4")
    line = subject_line(replace(found, beds=beds, not_reached=()), wrong)
    assert line == "Tue 14 May: 1 bed, dry from 10:30, rain at 18, a correction"
    assert "correction" not in subject_line(found, wrong)


def test_the_growers_own_words_come_last() -> None:
    assert subject_line(morning(), NONE, "Alder Bend\n").endswith("rain at 18 (Alder Bend)")
