"""Seasons played by rules against hidden truths; `python -m tests.season` writes the results."""
