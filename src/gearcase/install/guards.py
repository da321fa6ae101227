"""What every calculator of the fit refuses: a length, mass or time that is nothing or less."""

from gearcase.errors import OutOfRange

__all__ = ["above_zero"]


def above_zero(**values: float) -> None:
    """Pass when every value is above 0.

    Raises
    ------
    OutOfRange
        The first that is not, by its name.

    Examples
    --------
    >>> above_zero(mass=0.0)
    Traceback (most recent call last):
    gearcase.errors.OutOfRange: mass=0.0: above 0
    """
    for name, value in values.items():
        if not value > 0:
            raise OutOfRange(name, value, "above 0")
