"""Whitethread: a weather-driven timing scheduler for shallow cultivation."""

__version__ = "0.1.0"
