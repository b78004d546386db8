"""The wave: many visits of one evening or week, its channels, its hold, its summary."""
