"""The use cases: what a command, a mail or a notebook asks for.

Sources, sinks and `now` are arguments; the same inputs give the same answer to the last digit.
"""

from scheduler.service.bed import bed_page, bed_page_of
from scheduler.service.compare import compare
from scheduler.service.morning import morning, morning_of
from scheduler.service.news import list_before, list_of_day, morning_news
from scheduler.service.season_review import season_review
from scheduler.service.settings import crop_names, sources_table, tables
from scheduler.service.situation import Situation, situation
from scheduler.service.weather import past_years, weather_on_record
from scheduler.service.what_if import what_if

__all__ = [
    "Situation",
    "bed_page",
    "bed_page_of",
    "compare",
    "crop_names",
    "list_before",
    "list_of_day",
    "morning",
    "morning_news",
    "morning_of",
    "past_years",
    "season_review",
    "situation",
    "sources_table",
    "tables",
    "weather_on_record",
    "what_if",
]
