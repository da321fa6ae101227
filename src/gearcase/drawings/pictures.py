"""The pictures of a survey: the train, its planetary sets seen from the end, its lines over speed, its lines by part."""

from dataclasses import dataclass
from typing import Any

from gearcase.drawings.planetary import end_views
from gearcase.drawings.speedmap import speed_map_sheet
from gearcase.drawings.sticks import stick_chart_sheet
from gearcase.drawings.train import train_sheet

__all__ = ["SURVEY_PICTURES", "Picture", "survey_pictures"]

SURVEY_PICTURES = ("train.svg", "end-view-", "speed-map.svg", "lines.svg")  # how the names of their files begin


@dataclass(frozen=True)
class Picture:
    """A picture: the name of its file, one sentence on what to read from it, its caption, the drawing as SVG and its width [px]."""

    name: str
    says: str
    caption: str
    svg: str
    width: float


def survey_pictures(survey: dict[str, Any]) -> tuple[Picture, ...]:
    """All pictures of a ``survey/1`` document, in the order in which they are read.

    A survey without one line, of which nothing can be placed, is drawn as its train alone.
    """
    drive = survey["drive"]
    drawn = train_sheet(drive)
    train = Picture(
        "train.svg",
        "The drive as it was described: compare shafts, tooth counts and bearings with what stands there; dashed is unknown:",
        "The drive as described, not to scale; planetary sets in half section.",
        drawn.svg(f"{drive['name']}: shafts, gears and bearings"),
        drawn.width,
    )
    views = [
        Picture(
            f"end-view-{number}.svg",
            f"Seen along the axis of {one.name or 'the planetary set'}: planets that leave a gap to the ring, or cut it, mean a "
            "wrong count:",
            "Pitch circles in proportion to the teeth.",
            sheet.svg(f"{one.name}: sun, planets and ring seen along the axis"),
            sheet.width,
        )
        for number, (one, sheet) in enumerate(end_views(drive), start=1)
    ]
    if not survey["lines"]:
        return train, *views
    over_speed, by_part = speed_map_sheet(survey), stick_chart_sheet(survey)
    speed_map = Picture(
        "speed-map.svg",
        "Read upwards at the speed of a recording: where a ring stands two lines meet, and a peak there says nothing of which "
        "part made it:",
        "Frequency of the main lines over speed. The service range is shaded; dashed is what does not follow the speed; grey "
        "bands are what is not known of a line; rings are crossings in service or a tenth beyond; (+1) "
        "is one more line at that frequency at every speed.",
        over_speed.svg(f"{drive['name']}: frequency of each main line over speed"),
        over_speed.width,
    )
    sticks = Picture(
        "lines.svg",
        "Every part's lines at the rated speed, to hold beside a spectrum: parts whose sticks stand one above the other need a "
        "longer record or another speed to be told apart:",
        "Long sticks are fundamentals, shorter ones harmonics, ticks under the line sidebands."
        + (
            " Bars say what each point sees: full line true, dashed detectable only; shaded is what the best point shows untrue or "
            "not at all."
            if survey.get("points")
            else ""
        ),
        by_part.svg(f"{drive['name']}: all lines at the rated speed, by part"),
        by_part.width,
    )
    return train, *views, speed_map, sticks
