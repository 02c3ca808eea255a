"""Text of the farm made fit for a mail: one line, and nothing in it that acts unseen."""

from __future__ import annotations

import dataclasses
import re
import unicodedata
from collections.abc import Mapping
from typing import Any, TypeVar

T = TypeVar("T")

MAX_MARKS = 4  # accents on one letter; more of them only paint over the lines around
_JOINERS = "\u200c\u200d"  # shape letters and join emoji; they move nothing
_BLANK = {"Cc", "Zl", "Zp"}
_DROPPED = {"Cf"}  # turns of direction, zero widths, tags
_BROKEN = {"Cs", "Cn"}
_MARK = r"[\u0300-\u036f\u0483-\u0489\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff]"
_MARKS = re.compile(f"({_MARK}{{{MAX_MARKS}}}){_MARK}+")
_RTL = r"[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff]"
RTL_RUN = re.compile(rf"{_RTL}+(?:[^\S\n]+{_RTL}+)*")
"""Words written from right to left, with the blanks between them."""


def clean_text(text: str) -> str:
    """The text in one line, without controls and turns of direction; broken characters are marked.

    Examples
    --------
    >>> clean_text("B4\\r\\nBcc: all@example.org\\u202e")
    'B4 Bcc: all@example.org'
    """
    kept = []
    for character in text:
        category = unicodedata.category(character)
        if category in _BLANK:
            kept.append(" ")
        elif category in _BROKEN:
            kept.append("\ufffd")
        elif category not in _DROPPED or character in _JOINERS:
            kept.append(character)
    return " ".join(_MARKS.sub(r"\1", "".join(kept)).split())


def clean_record(record: T) -> T:
    """The record with every text in it cleaned, names that other records use among them.

    Examples
    --------
    >>> from scheduler.records import ListLine
    >>> clean_record(ListLine(1, "B\\n4", None, "wheel  hoe"))
    ListLine(place=1, bed='B 4', part=None, tool='wheel hoe')
    """
    cleaned: T = _cleaned(record)
    return cleaned


def _cleaned(value: Any) -> Any:
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, tuple | list):
        return type(value)(_cleaned(item) for item in value)
    if isinstance(value, Mapping):
        return {_cleaned(key): _cleaned(item) for key, item in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: getattr(value, f.name) for f in dataclasses.fields(value) if f.init}
        changed = {name: _cleaned(item) for name, item in fields.items()}
        return dataclasses.replace(value, **changed)
    return value


def marked_left_to_right(text: str) -> str:
    """Plain text in which figures keep their place after a name written from right to left.

    Examples
    --------
    >>> marked_left_to_right("\\u05e9\\u05d3\\u05d4 7:00") == "\\u05e9\\u05d3\\u05d4\\u200e 7:00"
    True
    """
    return RTL_RUN.sub(lambda run: f"{run[0]}\u200e", text)
