"""One suite for every store that readings are read from."""
