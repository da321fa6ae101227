"""What is to be cut from lengths of stock: the pieces wanted, the lengths that can be had, the saw's kerf."""

from dataclasses import dataclass

__all__ = ["SAW_KERF", "Lengths", "Piece", "Stock"]

SAW_KERF = 3e-3  # m, band or chop saw; common practice, no source


@dataclass(frozen=True)
class Piece:
    """A piece that is wanted: its name, its length [m], and the job it is for where a campaign is cut together."""

    name: str
    length: float
    job: str = ""


@dataclass(frozen=True)
class Stock:
    """A length that can be had [m], and how many there are: None for as many as wanted, a number for offcuts."""

    name: str
    length: float
    available: int | None = None


@dataclass(frozen=True)
class Lengths:
    """The pieces wanted of one material, the stock for them, and the kerf of the saw [m]."""

    pieces: tuple[Piece, ...]
    stocks: tuple[Stock, ...]
    kerf: float = SAW_KERF
