"""Files, databases, weather sources and pages: where the program meets the world."""
