"""What a bearing's designation says: its kind, its boundary dimensions and its contact angle.

A designation is a series (kind and dimension series), a bore code and suffixes: ``6205-2RS C3`` is series 62, bore code 05. The
dimensions come from the standard's plan, the same for every make; what is inside is each maker's own and is estimated by
`drive.bearing_estimate`.

Model: `Designation`. Calculator: `read_designation`.
"""

import difflib
import math
import re
from dataclasses import dataclass

from gearcase.errors import OutOfRange
from gearcase.tables import Row, load

__all__ = ["Designation", "read_designation"]

_FORMS = "series and bore code, e.g. 6205, 7218 B, NU 2210, 22220, 30206, NA4905 or 230/500; suffixes may follow"
_SMALL_BORES = {"00": 10.0, "01": 12.0, "02": 15.0, "03": 17.0}
_LEAST_CODE = 4  # from 04 on the bore is five times the code; ISO 15, from memory
_LETTERED_KIND = "angular contact ball"  # the only kind whose suffix letters change the contact angle
_SMALL_KIND = "deep groove ball"  # the only kind with bores below 10 mm, which its code gives as one figure
_THRUST = re.compile(r"(5[1-4]|8[179]|29[234])\d{2,3}(?!\d)")


@dataclass(frozen=True)
class Designation:
    """A designation, read.

    Attributes
    ----------
    text : str
        As given.
    kind : str
        In the words of table ``bearing_series``.
    series : str
    bore, outside_diameter : float
        Boundary dimensions. [m]
    width : float or None
        None where the plan held here does not give it. [m]
    rows : int
        Rows of rolling elements. [-]
    contact_angle : tuple of float
        Lowest and highest. [rad]
    suffixes : str
        What follows the bore code.
    """

    text: str
    kind: str
    series: str
    bore: float
    outside_diameter: float
    width: float | None
    rows: int
    contact_angle: tuple[float, float]
    suffixes: str


def read_designation(text: str) -> Designation:
    """Read a designation as stamped on the ring.

    Suffixes for seals, clearance, cage and tolerance change nothing here; the letters of an angular contact bearing set its contact
    angle, and a series with two rows says so.

    Parameters
    ----------
    text : str
        Spaces, hyphens and lower case do not matter.

    Returns
    -------
    Designation

    Raises
    ------
    OutOfRange
        No form that is understood, a series or size not held, or a thrust or inch bearing.

    Notes
    -----
    Bore codes 00 to 03 mean 10, 12, 15 and 17 mm, from 04 five times the code; a stroke comes before a bore in mm; one digit alone
    is a bore in mm [1]_.

    References
    ----------
    .. [1] ISO 15, Rolling bearings, boundary dimensions, general plan (from memory).

    Examples
    --------
    >>> read = read_designation("6205-2RS C3")
    >>> read.kind, read.bore, read.outside_diameter, read.suffixes
    ('deep groove ball', 0.025, 0.052, '2RS C3')
    """
    plain = re.sub(r"^([A-Z]+)[\s-]+(?=\d)", r"\1", text.strip().upper())
    readings = [(row, *split) for row in load("bearing_series") if (split := _split(plain, row))]
    if not readings:
        raise OutOfRange("designation", repr(text), _not_read(plain))
    row, code, suffixes = readings[0]
    bore_mm = _bore_mm(code)
    size = _size(row, bore_mm)
    if bore_mm is None or size is None:
        held = [float(one["bore_mm"]) for one in _sizes(row)]
        near_bores = sorted(held, key=lambda bore: abs(bore - (bore_mm or 0)))[:3]
        sizes = ", ".join(f"{bore:g}" for bore in sorted(near_bores))
        raise OutOfRange("designation", repr(text), f"a bore that series {row['series']} is held for, nearest: {sizes} mm")
    width = size.get(f"width_{row['width_series']}_mm") if row["width_series"] else ""
    return Designation(
        text=text,
        kind=row["kind"],
        series=row["series"],
        bore=bore_mm / 1000,
        outside_diameter=float(size["outside_mm"]) / 1000,
        width=float(width) / 1000 if width else None,
        rows=next(int(one["rows"]) for one in load("bearing_internal") if one["kind"] == row["kind"]),
        contact_angle=_contact_angle(row, suffixes),
        suffixes=suffixes,
    )


def _split(plain: str, row: Row) -> tuple[str, str] | None:
    """Bore code and suffixes where the text begins with this series and a whole bore code; None where it does not."""
    found = re.fullmatch(re.escape(row["series"]) + r"(/\d{2,4}|\d{2}|\d)(?!\d)[\s/-]*(.*)", plain)
    if found is None or (len(found[1]) == 1 and (row["kind"] != _SMALL_KIND or len(row["series"]) != 2)):
        return None
    return found[1], found[2].strip()


def _not_read(plain: str) -> str:
    """What would be right, with the series that look most like this one."""
    if _THRUST.match(plain):
        return f"a radial bearing: thrust bearings are not offered; {_FORMS}"
    stem = re.match(r"[A-Z]*\d{2}\d?(?=\d\d)|[A-Z]*\d*", plain)
    near = difflib.get_close_matches(stem[0] if stem else plain, [row["series"] for row in load("bearing_series")], n=3, cutoff=0.5)
    return f"{_FORMS}; nearest series: {', '.join(near)}" if near else _FORMS


def _bore_mm(code: str) -> float | None:
    if code.startswith("/"):
        return float(code[1:])
    if len(code) == 1:
        return float(code)
    if code in _SMALL_BORES:
        return _SMALL_BORES[code]
    return 5.0 * int(code) if int(code) >= _LEAST_CODE else None


def _sizes(row: Row) -> list[Row]:
    return [size for size in load("bearing_dimensions") if size["diameter_series"] == row["diameter_series"]]


def _size(row: Row, bore_mm: float | None) -> Row | None:
    return next((size for size in _sizes(row) if float(size["bore_mm"]) == bore_mm), None)


def _contact_angle(row: Row, suffixes: str) -> tuple[float, float]:
    """Of the series, or of the letter: C followed by a figure is a clearance, not an angle."""
    lettered = row
    if row["kind"] == _LETTERED_KIND:
        letters = sorted(load("bearing_contact_letters"), key=lambda one: -len(one["letters"]))
        lettered = next((one for one in letters if re.match(one["letters"] + r"(?!\d)", suffixes)), row)
    return math.radians(float(lettered["contact_low_deg"])), math.radians(float(lettered["contact_high_deg"]))
