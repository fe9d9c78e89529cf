"""Keeps what happened: bytes from probes become readings, flagged, stored, never altered."""
