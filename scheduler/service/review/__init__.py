"""What a season review reads: the season, its fit days, its beds, and mornings again."""
