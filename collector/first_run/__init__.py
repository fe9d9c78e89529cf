"""The first settings file: what is plugged in is found and heard, a person says what it is, the file is written."""
