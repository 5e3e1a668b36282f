"""A shop's folder of drives: all of them checked, and an index to find them by."""
