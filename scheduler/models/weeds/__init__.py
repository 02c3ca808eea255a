"""Weeds: when a flush opens, when its threads come, when it is too late."""
