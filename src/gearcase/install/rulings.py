"""What a rule of the trade says of one number: the number, its limit, and what would cure it."""

from dataclasses import dataclass

__all__ = ["Ruling"]


@dataclass(frozen=True)
class Ruling:
    """One number held against its limits.

    Attributes
    ----------
    what : str
        What was judged, in the trade's words.
    value : float
        In `unit`.
    unit : str
        SI unit, or ``-`` for a plain number.
    cure : str
        What would make it hold; said whether it holds or not.
    least, most : float or None
        Limits in `unit`; None where there is none. Both ends are allowed values.
    source : str

    Examples
    --------
    >>> edge = Ruling("edge distance", 0.006, "m", cure="move it inwards", least=0.0095, source="common practice, no source")
    >>> edge.holds, edge.shortfall
    (False, 0.0035)
    """

    what: str
    value: float
    unit: str
    cure: str
    source: str
    least: float | None = None
    most: float | None = None

    @property
    def shortfall(self) -> float:
        """How far the number lies outside its limits; 0 inside. [`unit`]"""
        below = 0.0 if self.least is None else self.least - self.value
        above = 0.0 if self.most is None else self.value - self.most
        return max(below, above, 0.0)

    @property
    def holds(self) -> bool:
        """Whether the number keeps its limits."""
        return self.shortfall == 0.0
