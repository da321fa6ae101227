"""The plots of one judged recording, each with a sentence on what to read from it: for reports, pages and the command line.

`Judged` is what they are made from: the survey that names the lines, the diagnosis, its arrays, and which recording. `KINDS` names
them with what each wants; `plot` makes one, or None where the recording does not give it.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.axes import ticks
from gearcase.drawings.block import unit_words
from gearcase.drawings.flags import Flag
from gearcase.drawings.maps import NOISE_ERRORS, kurtogram_sheet, order_map_sheet
from gearcase.drawings.plots import spectrum_sheet, waveform_sheet
from gearcase.drawings.survey_blocks import line_hz
from gearcase.drawings.svg import Sheet
from gearcase.drawings.tooth_circle import tooth_circle_sheet

__all__ = ["KINDS", "Judged", "Plot", "plot"]

_ENVELOPE_END_HZ = 200.0  # at least
_RACES = ("outer_race", "inner_race")
_TOOTH_STANDS_OUT = 4.5  # FM4 of the difference, 3 of noise; common practice, no source

Columns = Mapping[str, NDArray[np.floating]]


@dataclass(frozen=True)
class Plot:
    """A plot: what to read from it, its caption, its title for those who cannot see it, and the drawing."""

    says: str
    caption: str
    title: str
    sheet: Sheet


@dataclass(frozen=True)
class Judged:
    """One recording of a diagnosis, by its number in it.

    Attributes
    ----------
    survey, diagnose : dict
        Documents ``survey/1`` and ``diagnose/1``.
    arrays : mapping
        Of the diagnosis, by name and column.
    number : int
    """

    survey: dict[str, Any]
    diagnose: dict[str, Any]
    arrays: Mapping[str, Columns]
    number: int

    @property
    def recording(self) -> dict[str, Any]:
        found: dict[str, Any] = self.diagnose["recordings"][self.number]
        return found

    @property
    def verdicts(self) -> list[dict[str, Any]]:
        """Those that stand and rest on this recording."""
        return [verdict for verdict in self.diagnose["verdicts"] if verdict["recording"] == self.recording["name"]]

    @property
    def speed_hz(self) -> float:
        return float(self.recording["speed_hz"] or self.survey["drive"]["rated_speed_hz"])

    @property
    def shaft(self) -> str:
        return str(self.survey["drive"]["reference_shaft"])

    @property
    def quantity(self) -> str:
        """What was recorded, with its unit."""
        unit = unit_words(self.recording["unit"])
        return f"{'acceleration' if 's²' in unit else 'velocity' if '/s' in unit else 'displacement'}, {unit}"

    @property
    def caption(self) -> str:
        return f"at {60 * self.speed_hz:.1f} rpm ({self.recording['speed_from']})"

    def columns(self, name: str) -> Columns | None:
        return self.arrays.get(f"{name}-{self.number}")


def plot(kind: str, judged: Judged) -> Plot | None:
    """One of `KINDS`; None where this recording does not give it."""
    return KINDS[kind][0](judged)


def _waveform(judged: Judged) -> Plot | None:
    columns = judged.columns("waveform")
    if columns is None:
        return None
    sheet = waveform_sheet(
        columns["time_s"],
        columns["value"],
        clipped=columns["clipped"],
        turn_s=1 / judged.speed_hz,
        turn_of=judged.shaft,
        y_label=judged.quantity,
    )
    cut = (
        " Tops that are cut were more than the sensor can say: what is marked is no measurement."
        if columns["clipped"].any()
        else ""
    )
    return Plot(
        f"The record about its largest peak: look how often an impact comes back, and how it rings out.{cut}",
        f"Waveform {judged.caption}.",
        f"Waveform of {judged.recording['name']}",
        sheet,
    )


def _spectrum(judged: Judged) -> Plot | None:
    return _amplitudes(judged, 1.0, "frequency, Hz", "Amplitude spectrum")


def _order_spectrum(judged: Judged) -> Plot | None:
    return _amplitudes(judged, judged.speed_hz, f"orders of {judged.shaft}", "Order spectrum")


def _amplitudes(judged: Judged, per: float, x_label: str, name: str) -> Plot | None:
    columns = judged.columns("spectrum")
    if columns is None:
        return None
    sheet = spectrum_sheet(
        columns["hz"] / per,
        columns["amplitude"],
        [*_evidence(judged, combs=False, per=per), *_main_flags(judged, per)],
        x_label=x_label,
        y_label=f"amplitude, {unit_words(judged.recording['unit'])}",
        highest=_end(judged, columns["hz"]) / per,
    )
    return Plot(
        "Lines of the drive stand at dotted flags; a strong line without a flag is not the drive's, or not as it is described.",
        f"{name} {judged.caption}.",
        f"{name} of {judged.recording['name']}",
        sheet,
    )


def _envelope(judged: Judged) -> Plot | None:
    columns = judged.columns("envelope")
    if columns is None:
        return None
    sheet = spectrum_sheet(
        columns["hz"],
        np.maximum(columns["snr_db"], 0.0),
        _envelope_flags(judged),
        x_label="frequency, Hz",
        y_label="over local noise, dB",
        highest=min(float(columns["hz"][-1]), _envelope_end(judged)),
    )
    return Plot(
        "How often impacts come: a fault of a bearing is a row of even lines at its rate. Named is the evidence, or where it would "
        "begin.",
        f"Spectrum of the whitened squared envelope {judged.caption}. What does not rise above the local noise is not drawn.",
        f"Envelope spectrum of {judged.recording['name']}",
        sheet,
    )


def _order_map(judged: Judged) -> Plot | None:
    columns = judged.columns("order-map")
    if columns is None:
        return None
    times = [float(name.removeprefix("at ")) for name in columns if name != "order"]
    marks = [mark for mark in ticks(times[0], times[-1]) if times[0] <= mark <= times[-1]]
    rows = [(float(np.interp(mark, times, np.arange(len(times)))) + 0.5, f"{mark:g}") for mark in marks]
    made = judged.recording["order_map"]
    return Plot(
        "Upright lines turn with the drive, however its speed moved. Lines that lean or bend keep to a frequency of their own: "
        "mains, a neighbour, a resonance, where others darken as they cross it. Those that come and go tell that the load did."
        if made["own_speed"]
        else "Lines that stay upright keep to the shaft's mean speed; those that lean together tell that the speed moved, those "
        "that come and go that the load did.",
        f"Orders over time, {made['says']}.",
        f"Orders over time of {judged.recording['name']}",
        _orders(judged, columns, rows, "time, s"),
    )


def _history(judged: Judged) -> Plot | None:
    columns = judged.columns("orders")
    if columns is None:
        return None
    rows = [judged.diagnose["recordings"][int(name.removeprefix("recording "))] for name in columns if name != "order"]
    return Plot(
        "Each row is a recording of this point: a line that darkens upwards grows, one that is new on top has come since.",
        f"Orders of {len(rows)} recordings, the latest on top, each at its own speed.",
        f"Orders of the recordings at {judged.recording['point'] or 'a point not stated'}",
        _orders(judged, columns, [(n + 0.5, row["start"][:10] or f"no. {n + 1}") for n, row in enumerate(rows)], "recording"),
    )


def _orders(judged: Judged, columns: Columns, rows: list[tuple[float, str]], y_label: str) -> Sheet:
    return order_map_sheet(
        columns["order"],
        np.stack([values for name, values in columns.items() if name != "order"]),
        rows=rows,
        flags=_main_flags(judged, judged.speed_hz),
        x_label=f"orders of {judged.shaft}",
        y_label=y_label,
        key=f"amplitude, {unit_words(judged.recording['unit'])}",
    )


def _kurtogram(judged: Judged) -> Plot | None:
    columns = judged.columns("kurtogram")
    if columns is None:
        return None
    best = int(np.argmax(columns["kurtosis"]))
    low, high = columns["lowest_hz"][best], columns["highest_hz"][best]
    clear = columns["kurtosis"][best] >= NOISE_ERRORS * columns["standard_error"][best]
    return Plot(
        f"Impacts stand out most from {low:.0f} to {high:.0f} Hz, which they make ring."
        if clear
        else "No band holds impacts that stand out of what noise gives.",
        f"Kurtosis of the envelope, band by band, {judged.caption}. Left blank: within {NOISE_ERRORS:g} standard errors of noise.",
        f"Kurtogram of {judged.recording['name']}",
        kurtogram_sheet(*(columns[name] for name in ("lowest_hz", "highest_hz", "level", "kurtosis", "standard_error"))),
    )


def _tooth_circle(judged: Judged) -> Plot | None:
    """Of the gear whose residual is the most uneven."""
    columns = judged.columns("average")
    if columns is None:
        return None
    shown = columns["gear"] == columns["gear"][np.argmax(columns["fm4"])]
    number, wheel = divmod(int(columns["gear"][shown][0]), 2)
    mesh = judged.survey["drive"]["meshes"][number]
    side = "wheel" if wheel else "pinion"
    gear = f"{side} of {mesh['name']}, {mesh[f'{side}_teeth']} teeth, on {mesh[f'{side}_shaft']}"
    fm4 = float(columns["fm4"][shown][0])
    others = int(np.unique(columns["gear"]).size) - 1
    of_them = f"; of {others + 1} gears this one is the most uneven" if others else ""
    sheet = tooth_circle_sheet(
        columns["value"][shown],
        columns["residual"][shown],
        teeth=mesh[f"{side}_teeth"],
        gear=gear,
        turns=int(columns["turns"][shown][0]),
        unit=unit_words(judged.recording["unit"]),
    )
    return Plot(
        f"{'Something stands out once a turn' if fm4 >= _TOOTH_STANDS_OUT else 'No tooth stands out'}: FM4, how peaked the "
        f"residual is, is {fm4:.1f}, and noise alone gives 3{of_them}.",
        f"Average turn of the {gear}, {judged.caption}.",
        f"Average turn of the {gear}",
        sheet,
    )


_FIT = "a recording fit to be judged: gearcase diagnose says what is wrong with this one"
KINDS: dict[str, tuple[Callable[[Judged], Plot | None], str]] = {  # how each is made, and what it wants
    "waveform": (_waveform, _FIT),
    "spectrum": (_spectrum, _FIT),
    "orders": (_order_spectrum, _FIT),
    "envelope": (_envelope, _FIT),
    "order-map": (_order_map, "a longer recording: two stretches of it are wanted, each long enough to tell the orders apart"),
    "history": (_history, "two recordings or more of one point, fit to be judged"),
    "kurtogram": (_kurtogram, "a longer recording, fit to be judged"),
    "tooth-circle": (
        _tooth_circle,
        "a gear of known teeth on a fixed axis, whose mesh line is strong and steady, and a recording of more of its turns",
    ),
}


def _end(judged: Judged, hz: NDArray[np.floating]) -> float:
    speed = judged.speed_hz
    meshes = [line_hz(line, speed) for line in judged.survey["lines"] if line["kind"] == "mesh"]
    return min(float(hz[-1]), max(1.15 * max(meshes, default=0.0), 20 * speed))


def _envelope_end(judged: Judged) -> float:
    """Beyond the last evidence; without any, so far that every race shows its line and the next multiple."""
    last = [1.3 * flag.at for flag in _evidence(judged, combs=True)]
    races = [] if last else [2 * flag.at for flag in _first_lines(judged, _RACES)]
    return float(max([_ENVELOPE_END_HZ, *last, *races]))


def _found(verdict: dict[str, Any]) -> list[dict[str, Any]]:
    """The evidence that was found; a line that could not be looked for has no frequency."""
    return [line for line in verdict["evidence"] if line["found_hz"] is not None]


def _main_flags(judged: Judged, per: float) -> list[Flag]:
    """Meshes and shafts, at their frequency over `per`."""
    return [
        Flag(line_hz(line, judged.speed_hz) / per, line["name"])
        for line in judged.survey["lines"]
        if line["kind"] == "mesh" or (line["kind"] == "shaft" and line["harmonic"] == 1)
    ]


def _envelope_flags(judged: Judged) -> list[Flag]:
    named = _evidence(judged, combs=True)
    expected = _first_lines(judged, ("shaft",) if named else ("shaft", *_RACES))  # without evidence, where it would stand
    return [*named, *_not_counted(judged), *_together(expected)]


def _evidence(judged: Judged, *, combs: bool, per: float = 1.0) -> list[Flag]:
    """Of verdicts by a comb of the envelope, or by lines of the spectrum; the first with its part, at its frequency over `per`."""
    return [
        Flag(line["found_hz"] / per, line["line"] if number else f"{verdict['component']}: {line['line']}", found=True)
        for verdict in judged.verdicts
        if _is_comb(verdict) == combs
        for number, line in enumerate(_found(verdict))
    ]


def _is_comb(verdict: dict[str, Any]) -> bool:
    return verdict["strength_db"] is not None


def _first_lines(judged: Judged, kinds: tuple[str, ...]) -> list[Flag]:
    return [
        Flag(line_hz(line, judged.speed_hz), line["name"])
        for line in judged.survey["lines"]
        if line["kind"] in kinds and line["harmonic"] == 1
    ]


def _together(flags: list[Flag]) -> Iterator[Flag]:
    """Lines at one place as one flag: bearings alike share their rates."""
    alike: dict[str, list[Flag]] = {}
    for flag in flags:
        alike.setdefault(f"{flag.at:.6g}", []).append(flag)
    for first, *more in alike.values():
        yield replace(first, name=f"{first.name} (+{len(more)})") if more else first


def _not_counted(judged: Judged) -> Iterator[Flag]:
    """Multiples a named fault would also show but that are no evidence, so that their peaks do not stand there unnamed."""
    for verdict in filter(_is_comb, judged.verdicts):
        spacing = min((line["found_hz"] for line in _found(verdict)), default=0.0)
        if not spacing:
            continue
        counted = {round(line["found_hz"] / spacing) for line in _found(verdict)}
        last = int(_envelope_end(judged) / spacing)
        for number in sorted(set(range(1, last + 1)) - counted):
            yield Flag(number * spacing, f"{number}x, not counted")
