"""readings.db on a time-series server: what is written there, and how it is read."""
