"""Compares the probes of a site with each other over hours and says which of them are not to be believed, and why."""
