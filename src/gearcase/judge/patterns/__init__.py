"""Fault patterns other than of bearings: one module a family, each looks for the signs of its rows of ``fault_patterns.csv``.

A family is a function ``examine(drive, observed)``: all records of a job that are fit, in order of time in (`sensors` looks at
the unfit ones too), one `signs.Weighed` out for every
pattern of the family at every part of the drive that can have it, whatever its answer. Families are listed in `families`.
"""
