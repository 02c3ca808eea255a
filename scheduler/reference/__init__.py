"""Parameter tables and their loader."""
