"""A slow second opinion on the soil column, written apart from it."""
