"""Lets the tests read and write stored mornings; a stored morning holds no strip."""

from __future__ import annotations

from scheduler.records import DayStrip

DayStrip.__pydantic_config__ = {"arbitrary_types_allowed": True}  # type: ignore[attr-defined]
