"""The same facts as JSON, and the one way to log something."""
