"""Fault patterns other than of bearings: one module a family, each looks for the signs of its rows of ``fault_patterns.csv``."""
