"""Whole mornings a gardener can check by hand."""
