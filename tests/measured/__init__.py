"""Models against measured series; `python -m tests.measured` prints the table."""
