"""gearcase: fit, prove and watch vibration and temperature monitoring on enclosed gear drives.

Advice and record, not a protection system.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
