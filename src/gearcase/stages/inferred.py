"""What recordings tell of a drive that nobody has opened: its speed, unknown tooth counts with odds, which make of bearing fits.

Nothing of it enters the drive model by itself: it is advice on what to confirm, and where the recordings cannot decide, on
the measurement that would.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from gearcase.drive.bearing_lines import bearing_rings
from gearcase.drive.lines import expected_lines
from gearcase.drive.speeds import shaft_orders
from gearcase.drive.train import Drive
from gearcase.errors import OutOfRange
from gearcase.findings import Finding, Level
from gearcase.job.build import Job
from gearcase.judge.explained import envelope_orders
from gearcase.judge.faults import Hypothesis, bearing_hypotheses
from gearcase.judge.heard import Heard, Speed, find_speed, hear
from gearcase.judge.peaks import LineSpectrum
from gearcase.judge.teeth import Plate, ToothInference, infer_teeth
from gearcase.judge.which_bearing import which_bearing
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Recording
from gearcase.stages.row import Stages, stages_in_a_row, teeth_wanted

__all__ = ["infer"]

_STATED_WITHIN = 0.01  # the stated speed, as the odds were tried (docs/inference.md)
_MEASURED_WITHIN = 1e-3  # the least that a measured one is trusted to
_MOST_COMBINATIONS = 5


@dataclass(frozen=True)
class _Listened:
    """A recording that is fit to be judged, with the speed its lines give; words where they give none."""

    heard: Heard
    speed: Speed | str

    @property
    def hum(self) -> str:
        """Why its lines are the mains' alone; empty where they are not."""
        return self.speed.at_rest if isinstance(self.speed, Speed) and self.speed.hum else ""


def infer(job: Job, recordings: Iterable[Recording]) -> tuple[dict[str, Any], tuple[Finding, ...], tuple[dict[str, str], ...]]:
    """The ``inferred`` part of a survey, what it found, and the recordings it rests on."""
    lines, hypotheses = expected_lines(job.drive), bearing_hypotheses(job.drive)
    speeds: list[dict[str, Any]] = []
    listened: list[_Listened] = []
    read: list[dict[str, str]] = []
    for recording in recordings:
        read.append({"what": f"recording {recording.name}", "sha256": recording.sha256})
        unfit = _unfit(recording)
        if unfit:
            speeds.append(_speed_row(recording, unfit))
            continue
        heard = hear(recording)
        speed = find_speed(job.drive, lines, hypotheses, heard)
        speeds.append(_speed_row(recording, speed))
        listened.append(_Listened(heard, speed))
    teeth = _teeth(job.drive, listened)
    bearings = list(_bearings(job, listened, hypotheses))
    document = {"speeds": speeds, "teeth": teeth, "bearings": bearings}
    return document, tuple(_findings(speeds, teeth)), tuple(read)


def _unfit(recording: Recording) -> str:
    """Why a recording cannot be judged; empty where it can. Its turns are not asked for: the shafts are what is unknown."""
    found = tuple(judge_quality(recording.samples, sample_rate_hz=recording.sample_rate_hz, unit=recording.unit))
    return "; ".join(finding.says for finding in found if finding.level is Level.BLOCKER)


def _speed_row(recording: Recording, speed: Speed | str) -> dict[str, Any]:
    return {
        "recording": recording.name,
        "point": recording.point,
        "stated_hz": recording.speed_hz,
        "pulses_per_turn": recording.pulses_per_turn,
        "hz": speed.hz if isinstance(speed, Speed) else None,
        "standard_error_hz": speed.standard_error_hz if isinstance(speed, Speed) else None,
        "says": speed.source if isinstance(speed, Speed) else speed,
        "told": isinstance(speed, Speed) and not speed.at_rest,
    }


def _teeth(drive: Drive, listened: Sequence[_Listened]) -> dict[str, Any] | None:
    """Combinations of the unknown teeth between the ends; None where nothing is unknown, words where it cannot be tried."""
    stages = stages_in_a_row(drive)
    if stages is None or not teeth_wanted(drive):
        return None
    if not stages and drive.ratings.stages is None:
        return {"says": "tooth counts can be inferred once the number of stages is known: give nameplate.stages"}
    if drive.ratings.ratio is None:
        return {"says": "tooth counts can be inferred once the nameplate's ratio is known"}
    if not listened:
        return {"says": "tooth counts can be inferred from a recording of the running drive: list one under recordings"}
    longest = max(listened, key=lambda one: (not one.hum, one.heard.recording.duration_s))
    name = longest.heard.recording.name
    if longest.hum:
        return {"recording": name, "says": f"tooth counts cannot be inferred from {name}: {longest.hum}"}
    try:
        plate = _plate(drive, longest, stages)
        found = infer_teeth([LineSpectrum(longest.heard.spectrum.strength, longest.heard.spectrum.bin_hz)], plate)
    except OutOfRange as error:
        return {"recording": name, "says": f"{error.name} {error.value}: {error.rule}"}
    return {"recording": name, **_teeth_document(found)}


def _teeth_document(found: ToothInference) -> dict[str, Any]:
    return {
        "decided": found.decided,
        "none": found.none,
        "sure_lines": found.sure,
        "explained_lines": found.explained,
        "combinations": [
            {
                "teeth": [list(pair) for pair in one.teeth],
                "odds": one.odds,
                "input_hz": one.speed_hz,
                "shafts_hz": list(one.shafts_hz),
                "found": len(one.found),
                "expected": one.expected,
                "lines": [asdict(line) for line in one.found],
            }
            for one in found.candidates[:_MOST_COMBINATIONS]
        ],
        "measurement": None if found.measurement is None else {"kind": found.measurement.kind, "says": found.measurement.words},
    }


def _plate(drive: Drive, listened: _Listened, stages: Stages) -> Plate:
    """What is known beforehand, at the speed of the recording."""
    ratings, recording = drive.ratings, listened.heard.recording
    ratio = ratings.ratio or 1.0
    if isinstance(listened.speed, Speed) and listened.speed.standard_error_hz is not None:
        speed, within = listened.speed.hz, max(3 * listened.speed.standard_error_hz / listened.speed.hz, _MEASURED_WITHIN)
    else:
        low, high = (recording.speed_hz,) * 2 if recording.speed_hz else drive.speed_hz
        speed, within = (low + high) / 2, (high - low) / (high + low) + _STATED_WITHIN
    ends = {shaft.end: shaft.name for shaft in drive.shafts if shaft.end}
    if ends.get("output") == drive.reference_shaft:
        speed *= ratio
    count = len(stages) or ratings.stages or 1
    return Plate(speed, within, ratio, ratings.ratio_spread or 0.005 * ratio, count, tuple(stages))


def _bearings(job: Job, listened: Sequence[_Listened], hypotheses: Sequence[Hypothesis]) -> Iterator[dict[str, Any]]:
    """For each bearing of several makes, what each recording on its housing says of them."""
    orders = shaft_orders(job.drive)
    bearing_at = {point.name: point.bearing for point in job.points}
    turning = [line for line in expected_lines(job.drive) if line.component not in {b.name for b in job.drive.bearings}]
    for bearing in job.drive.bearings:
        rings = bearing_rings(job.drive, bearing, orders)
        if len(bearing.makes) < 2 or rings is None or rings.inner.order == rings.outer.order:
            continue
        for one in listened:
            if bearing_at.get(one.heard.recording.point) != bearing.name or isinstance(one.speed, str):
                continue
            answer = which_bearing(
                one.heard.envelope,
                bearing.makes,
                rings=rings.orders,
                speed_hz=one.speed.hz,
                speed_spread=one.speed.spread,
                explained_orders=envelope_orders(turning, speed_hz=one.speed.hz),
            )
            ranked = [{"name": each.name, "probability": each.probability, "fault": each.fault} for each in answer.ranked]
            says, names = answer.says, list(answer.names)
            yield {"bearing": bearing.name, "recording": one.heard.recording.name, "names": names, "says": says, "ranked": ranked}


def _findings(speeds: Sequence[dict[str, Any]], teeth: dict[str, Any] | None) -> Iterator[Finding]:
    for row in speeds:
        if not row["told"]:
            yield Finding(Level.CAUTION, "survey.recording_speed", row["recording"], row["says"])
    if teeth is None or "combinations" not in teeth:
        return
    best = teeth["combinations"][0]
    counts = ", ".join("/".join(map(str, pair)) for pair in best["teeth"])
    if teeth["decided"]:
        says = (
            f"the recording's lines fit {counts} teeth with odds above 0.9 (how often such odds come true: docs/inference.md); "
            "confirm one count when the drive is open, then write them into job.yaml"
        )
        yield Finding(Level.NOTE, "survey.teeth", teeth["recording"], says)
    elif teeth["measurement"]:
        says = f"the tooth counts cannot be decided from this recording; {teeth['measurement']['says']}"
        yield Finding(Level.NOTE, "survey.teeth", teeth["recording"], says)
