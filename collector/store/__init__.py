"""readings.db: one writer, many read-only readers."""
