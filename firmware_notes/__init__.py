"""Notes for whoever builds the probe: a package, so that they are installed with the program and shown under Help."""
