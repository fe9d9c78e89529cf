"""Says what to do about it, and takes down what people did."""
