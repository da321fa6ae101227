"""Diagnose: what do recordings say about the parts of this drive, with what odds, and what can they not say?

For bearings recordings are judged one at a time. All other patterns look at several together, of which the earliest and latest few
of each place and state are kept, so that more recordings than fit in memory do no harm.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase import tables
from gearcase.drive.bearing_estimate import ESTIMATE_TABLES
from gearcase.drive.bearing_lines import BEARING_RATES
from gearcase.drive.line import Line
from gearcase.drive.lines import expected_lines, slowest_shaft_order
from gearcase.drive.train import Drive
from gearcase.findings import Finding, Level
from gearcase.job.build import Job
from gearcase.judge.advice import advice, maturity, pressing, rivals, urgency
from gearcase.judge.combs import SLIP_BAND, STATED_SPEED_BAND
from gearcase.judge.explained import envelope_orders, unexplained_lines
from gearcase.judge.faults import (
    ATTRIBUTION_LIMIT,
    Comb,
    Hypothesis,
    Judgement,
    bearing_hypotheses,
    comb_lines,
    judge_bearings,
)
from gearcase.judge.heard import Speed, find_speed, hear, speed_words
from gearcase.judge.patterns.families import examine
from gearcase.judge.patterns.observed import SAME_LOAD, SAME_SPEED, SAMPLED_ALIKE, Kept, Observed, Recorded
from gearcase.judge.patterns.signs import Answer, Weighed
from gearcase.judge.zones import STAND_IN, Rating, applicable, rate
from gearcase.signal.envelope import EnvelopeSpectrum
from gearcase.signal.indicators import indicators
from gearcase.signal.quality import judge_quality
from gearcase.signal.recording import Circumstances, Recording
from gearcase.signal.spectrum import (
    SHORTEST_RECORD,
    Transform,
    amplitude_spectrum,
    find_lines,
    overall_velocity,
    transform,
)
from gearcase.stages.gravity_doubts import gravity_doubts
from gearcase.stages.level_changes import changed_rows, level_changes
from gearcase.stages.one_figure import ONLY_A_RECORDING, only_figures
from gearcase.stages.order_maps import OrderMap, mapped
from gearcase.stages.pattern_rows import cannot_tell_rows, explained_by, looked_rows, not_testable_rows, offered_only, verdict_rows
from gearcase.stages.pictured import OrderHistory, highest_order, pictured, waveform
from gearcase.stages.rate_doubts import rate_doubts
from gearcase.stages.result import StageResult, calls_for_action, finding_document, has_blocker
from gearcase.units import percent

__all__ = ["CLEAN", "Examined", "run"]

CLEAN = "no fault seen in what can be seen"
GROWTH_DB = 6.0  # growth over the first recording that is worth a look; handbooks of vibration diagnosis, from memory
_RACES = ("outer_race", "inner_race")
_MULTIPLES = (2, 3)  # of a rate, that impacts every second or third of which is loud may be taken for
_UNSTEADY = ("starting", "run-up", "coast-down")
_LINE_CHANCE = 1e-3
_BESIDE_LINE = 4  # bins either side that count as a line
_WEAKEST_KEPT = 1e-9
_USUAL_LOW_HZ = 10.0  # where the overall velocity begins but of slow drives: ISO 20816-1


def run(job: Job, recordings: Iterable[Recording]) -> StageResult:
    """Judge recordings against the job's drive.

    Parameters
    ----------
    job : Job
    recordings : iterable of Recording
        In order of time; taken one by one.

    Returns
    -------
    StageResult
        Document ``diagnose/1``; arrays ``NAME-N`` (spectrum, envelope, and those of `stages.pictured`) of the latest recording of
        each point and of those that verdicts stand on; `wrong` when a fault is claimed, a recording is unfit to be judged, or the
        overall velocity is in zone D.
    """
    lines, hypotheses = expected_lines(job.drive), bearing_hypotheses(job.drive)
    bearing_at = {point.name: point.bearing for point in job.points}
    documents: list[dict[str, Any]] = []
    kept: dict[tuple[str, ...], tuple[int, Examined]] = {}
    histories: dict[tuple[str, str], OrderHistory] = {}
    firsts: dict[tuple[str, ...], list[_First]] = {}
    looked: list[_Looked] = []
    rough: list[_Rough] = []
    kept_records = Kept()
    read = [*job.sources(("drive", "points")), *tables.sources("fault_patterns", "confusions", "vibration_zones", *ESTIMATE_TABLES)]
    for number, recording in enumerate(recordings):
        under = bearing_at.get(recording.point, "")
        nearest_first = tuple(sorted(hypotheses, key=lambda hypothesis: hypothesis.component != under))
        alike = firsts.setdefault((recording.point, recording.channel, recording.unit, recording.taken.direction), [])
        examined = Examined(job.drive, lines, nearest_first, recording, alike)
        document = examined.document()
        documents.append(document)
        looked.append(examined.looked())
        rough += [examined.rough] if examined.rough else []
        kept_records.add(examined.recorded(under))
        read.append({"what": f"recording {recording.name}", "sha256": recording.sha256})
        shown = (number, examined)
        kept["latest", recording.point] = shown
        kept.update({(row["component"], row["fault"], recording.point): shown for row in document["verdicts"]})
        if examined.spectrum and examined.speed:
            history = histories.setdefault((recording.point, recording.unit), OrderHistory(highest_order(lines)))
            history.add(number, examined.spectrum, examined.speed.hz)
        if recording.point and examined.first is None and examined.envelope and examined.speed and not examined.still:
            alike.append(_First(recording.taken, recording.sample_rate_hz, examined.envelope, examined.speed.hz))
    records = kept_records.all()
    changes = level_changes([one for one in records if isinstance(one, Observed)])
    weighed = offered_only(examine(job.drive, records))
    beside = [*_rough_rows(rough, weighed, records), *changed_rows(changes), *gravity_doubts(records)]
    document = _together(job, documents, looked, weighed, beside, changes)
    for claim in (one for one in weighed if one.answer is Answer.CLAIMED and one.seen_in):
        rests_on = claim.seen_in[-1].recording  # which may be older than the latest of its point
        at = _number_of(rests_on, documents)
        if at not in {shown for shown, _ in kept.values()}:
            kept[claim.component, claim.pattern, rests_on.point] = at, Examined(job.drive, lines, hypotheses, rests_on)
    together: dict[str, dict[str, NDArray[np.floating]]] = {}
    for number, one in dict(kept.values()).items():
        together |= {f"{name}-{number}": columns for name, columns in one.arrays().items()}
        if (orders := one.order_map()) and orders.columns:
            documents[number]["order_map"] = {"own_speed": orders.own_speed, "says": orders.says}
            together[f"order-map-{number}"] = orders.columns
    together |= {f"orders-{history.rows[-1][0]}": history.columns() for history in histories.values() if len(history.rows) > 1}
    return StageResult("diagnose", document, tuple(read), together, wrong=calls_for_action(document))


def _number_of(recording: Recording, documents: Sequence[Mapping[str, Any]]) -> int:
    """Which of the recordings judged it is."""
    keys = ("name", "sha256", "point", "channel", "start")
    return next(n for n, row in enumerate(documents) if all(row[key] == getattr(recording, key) for key in keys))


@dataclass(frozen=True)
class _First:
    """Envelope spectrum and speed of the first recording of a point, channel and direction in one state, against which growth is
    told.
    """

    taken: Circumstances
    sample_rate_hz: float
    envelope: EnvelopeSpectrum
    speed_hz: float

    def stands_for(self, recording: Recording, speed_hz: float) -> bool:
        """Whether one at this speed [Hz] may be held against it: nothing that is known of the two is unlike. A slow record grows on
        no fast one.
        """
        states = {one or "steady" for one in (self.taken.state, recording.taken.state)}
        loads = [one for one in (self.taken.load, recording.taken.load) if one is not None]
        return (
            len(states) == 1
            and max(loads, default=0.0) - min(loads, default=0.0) <= SAME_LOAD
            and abs(speed_hz / self.speed_hz - 1) <= SAME_SPEED
            and abs(recording.sample_rate_hz / self.sample_rate_hz - 1) <= SAMPLED_ALIKE
        )


@dataclass(frozen=True)
class _Looked:
    """What one recording was looked through for, as (component, fault): what could be tested in it, what of that showed, were it
    faint or uncertain, and why the rest could not be tested.
    """

    testable: frozenset[tuple[str, str]] = frozenset()
    shown: frozenset[tuple[str, str]] = frozenset()
    why_not: Mapping[tuple[str, str], str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Rough:
    """Overall vibration in zone C or D at a point: in words, and the place of the line that makes most of it. [Hz]"""

    point: str
    says: str
    most_hz: tuple[float, float]


class Examined:
    """One recording, examined."""

    def __init__(
        self,
        drive: Drive,
        lines: tuple[Line, ...],
        hypotheses: tuple[Hypothesis, ...],
        recording: Recording,
        firsts: Sequence[_First] = (),
    ) -> None:
        self.drive, self.lines, self.hypotheses, self.recording = drive, lines, hypotheses, recording
        self.first: _First | None = None
        long_enough = recording.samples.size >= SHORTEST_RECORD
        whole = transform(recording.samples, sample_rate_hz=recording.sample_rate_hz) if long_enough else None
        self.quality = tuple(self._judge_quality(whole))
        self.cannot_tell: list[str] = []
        self.speed: Speed | None = None
        self.envelope: EnvelopeSpectrum | None = None
        self.spectrum: Transform | None = None
        self.velocity: float | None = None
        self.rating: Rating | None = None
        self.rough: _Rough | None = None
        self.judgement = Judgement()
        self.verdicts: list[dict[str, Any]] = []
        self.unexplained: list[dict[str, Any]] = []
        if not hypotheses:
            self.cannot_tell.append(f"{recording.name}: no bearing of this job has both its geometry and its speed known")
        if contradiction := self._contradicting_speed():
            self.quality = (*self.quality, contradiction)
            self.cannot_tell.append(f"{recording.name}: {contradiction.says}")
        if has_blocker(self.quality):
            self.cannot_tell += [f"{recording.name}: {f.says}" for f in self.quality if f.level == "blocker"]
            return
        heard = hear(recording, whole)
        self.spectrum, self.envelope = spectrum, envelope = heard.spectrum, heard.envelope
        if recording.taken.state in (*_UNSTEADY, "standing"):
            return
        velocity = self.velocity = self._overall(spectrum)
        if velocity is not None:
            self.rating = rate(velocity, power=drive.ratings.power, speed_hz=drive.speed_hz, support=drive.ratings.support)
        speed = find_speed(drive, lines, hypotheses, heard)
        if isinstance(speed, str):
            self.cannot_tell.append(f"{recording.name}: {speed}")
            return
        self.speed = speed
        self.first = next((one for one in firsts if one.stands_for(recording, speed.hz)), None)
        self.quality = (*self.quality, *rate_doubts(drive, lines, heard, speed))
        if velocity is not None and self.rating is not None and self.rating.zone in "CD":
            self.rough = self._rough_running(spectrum, speed.hz, velocity, self.rating)
        self.judgement = judge_bearings(
            envelope,
            hypotheses,
            speed_hz=speed.hz,
            speed_spread=speed.spread,
            explained_orders=envelope_orders(lines, speed_hz=speed.hz),
        )
        growth = {comb: self._growth(comb, envelope, speed.hz) for comb in (*self.judgement.claims, *self.judgement.faint)}
        grown = [comb for comb in self.judgement.faint if comb.hypothesis and (growth[comb] or 0.0) >= GROWTH_DB]
        claims = [*self.judgement.claims, *grown]
        self.verdicts = [self._verdict(comb, comb.hypothesis, growth[comb], speed.hz) for comb in claims if comb.hypothesis]
        for comb in self.judgement.uncertain:
            if comb.hypothesis:
                self.cannot_tell.append(self._uncertain(comb, comb.hypothesis, speed.hz))
        for comb in self.judgement.faint:
            if comb.hypothesis and comb not in grown:
                self.cannot_tell.append(self._faint(comb, comb.hypothesis, speed.hz))
        if self.still:
            self.cannot_tell.append(f"{recording.name}: nothing in it shows that the drive turned: {speed.at_rest}")
        self.unexplained = self._unexplained(spectrum, (*claims, *self.judgement.uncertain), speed.hz)

    @property
    def still(self) -> bool:
        """Whether nothing in the recording shows that the drive turned, no bearing either."""
        combs = (*self.judgement.claims, *self.judgement.uncertain, *self.judgement.faint)
        return self.speed is not None and bool(self.speed.at_rest) and not any(comb.hypothesis for comb in combs)

    def recorded(self, component: str) -> Recorded:
        """The recording as patterns look at it, taken at the bearing of this name; not `Observed` where it is unfit, its speed not
        known, or nothing in it turned that should.
        """
        if self.recording.taken.state == "standing":
            speed_hz, spread = 0.0, 0.0
        elif self.recording.taken.state in _UNSTEADY:
            speed_hz, spread = self.recording.speed_hz or self.drive.rated_speed_hz, 1.0
        elif self.speed is not None and not self.still:
            speed_hz, spread = self.speed.hz, self.speed.spread
        else:
            return Recorded(self.recording, quality=self.quality)
        return self._observed(component, speed_hz, spread)

    def _observed(self, component: str, speed_hz: float, spread: float) -> Recorded:
        if self.spectrum is None or self.envelope is None:
            return Recorded(self.recording, quality=self.quality)
        return Observed(self.recording, self.spectrum, self.envelope, speed_hz, spread, component, quality=self.quality)

    def document(self) -> dict[str, Any]:
        recording, speed = self.recording, self.speed
        found = indicators(recording.samples)
        return {
            "name": recording.name,
            "sha256": recording.sha256,
            "point": recording.point,
            "channel": recording.channel,
            "unit": recording.unit,
            "sample_rate_hz": recording.sample_rate_hz,
            "duration_s": recording.duration_s,
            "start": recording.start,
            "found": recording.found,
            "speed_hz": speed.hz if speed else None,
            "speed_standard_error_hz": speed.standard_error_hz if speed else None,
            "speed_from": speed.source if speed else recording.taken.state or "unknown",
            "order_map": None,  # until one is made
            "quality": [finding_document(finding) for finding in self.quality],
            "indicators": {
                "rms": float(found.rms),
                "peak": float(found.peak),
                "crest_factor": float(found.crest_factor),
                "kurtosis": float(found.kurtosis),
                "overall_velocity_mm_s": None if self.velocity is None else 1000 * self.velocity,
                "zone": self.rating.zone if self.rating else None,
            },
            "clean": not self.verdicts and not self.cannot_tell and self.rough is None,
            "cannot_tell": list(self.cannot_tell),
            "unexplained": self.unexplained,
            "verdicts": list(self.verdicts),
            "not_testable": [
                {"component": _part_words(hypothesis), "fault": hypothesis.fault, "why": why}
                for hypothesis, why in self.judgement.not_testable
            ],
        }

    def looked(self) -> _Looked:
        """Nothing where the record was unfit, its speed unknown or the drive at rest: `cannot_tell` says so already."""
        if self.speed is None or self.still:
            return _Looked()
        blind = dict(self.judgement.not_testable)
        testable = frozenset((h.component, h.fault) for h in self.hypotheses if h not in blind)
        why_not = {(h.component, h.fault): why for h, why in blind.items() if (h.component, h.fault) not in testable}
        combs = (*self.judgement.claims, *self.judgement.uncertain, *self.judgement.faint)
        shown = {(h.component, h.fault) for comb in combs for h in (comb.hypothesis, *comb.rivals) if h is not None}
        return _Looked(testable, frozenset(shown), why_not)

    def arrays(self) -> dict[str, dict[str, NDArray[np.floating]]]:
        """What the plots need: amplitudes of the whole spectrum, strengths of the envelope's low end, and what is `pictured`; of a
        record unfit to be judged its waveform, which shows why.
        """
        clipped = any(finding.rule == "quality.clipping" for finding in self.quality)
        speed_hz = self.speed.hz if self.speed else self.recording.speed_hz or self.drive.rated_speed_hz
        shown_first = {"waveform": waveform(self.recording, speed_hz, clipped=clipped)}
        if self.spectrum is None or self.envelope is None:
            return shown_first
        amplitude = amplitude_spectrum(self.spectrum).astype(np.float32)
        shown = min(self.envelope.strength.size, round(self._envelope_end() / self.envelope.bin_hz))
        strength = np.maximum(self.envelope.strength[:shown], _WEAKEST_KEPT)
        more = {}
        if self.speed is not None:
            fastest = max((hypothesis.order for hypothesis in self.hypotheses), default=1.0)
            more = pictured(self.recording, self.spectrum, self.speed, drive=self.drive, fastest_order=fastest)
        return {
            **shown_first,
            **more,
            "spectrum": {
                "hz": (np.arange(amplitude.size) * self.spectrum.bin_hz).astype(np.float32),
                "amplitude": amplitude,
            },
            "envelope": {
                "hz": (np.arange(shown) * self.envelope.bin_hz).astype(np.float32),
                "snr_db": (10 * np.log10(strength)).astype(np.float32),
            },
        }

    def order_map(self) -> OrderMap | None:
        """Of a record whose speed moves too far to judge it only its tachometer tells; where its lines, smeared, tell no speed, its
        mesh may.
        """
        blocked = {finding.rule for finding in self.quality if finding.level == Level.BLOCKER}
        if blocked - {"quality.drift"} or (blocked and not self.recording.marks_s.size) or self.recording.taken.state == "standing":
            return None
        recorded = self.recorded("")
        if self.speed is not None and not self.speed.hum:
            recorded = self._observed("", self.speed.hz, self.speed.spread)
        speed_hz = self.speed.hz if self.speed else self.recording.speed_hz or self.drive.rated_speed_hz
        return mapped(self.drive, self.lines, recorded, speed_hz=speed_hz)

    def _envelope_end(self) -> float:
        speed = self.speed.hz if self.speed else self.drive.rated_speed_hz
        return max([6 * hypothesis.order * speed for hypothesis in self.hypotheses], default=20 * speed)

    def _judge_quality(self, spectrum: Transform | None) -> list[Finding]:
        speed = self.recording.speed_hz or self.drive.speed_hz[0]
        standing = self.recording.taken.state == "standing"
        turns = None if standing else self.recording.duration_s * slowest_shaft_order(self.drive) * speed
        rates = [3 * hypothesis.order * speed for hypothesis in self.hypotheses]
        return judge_quality(
            self.recording.samples,
            sample_rate_hz=self.recording.sample_rate_hz,
            unit=self.recording.unit,
            turns=turns,
            highest_wanted_hz=max(rates, default=None),
            steady=self.recording.taken.state not in _UNSTEADY,
            spectrum=spectrum,
        )

    def _contradicting_speed(self) -> Finding | None:
        """A speed stated for the recording at which the job says that this drive does not run: one of them is wrong."""
        stated, (low, high) = self.recording.speed_hz, self.drive.speed_hz
        if self.recording.taken.state in _UNSTEADY:  # on its way to or from that speed
            return None
        if stated is None or low * (1 - STATED_SPEED_BAND) <= stated <= high * (1 + STATED_SPEED_BAND):
            return None
        runs = f"{60 * high:.5g} rpm" if low == high else f"{60 * low:.5g} to {60 * high:.5g} rpm"
        says = (
            f"{speed_words(self.recording, stated)}, and job.yaml says that {self.drive.reference_shaft} runs at {runs} "
            "(drive.input.speed): one of them is wrong, and with it every line; correct it and judge again"
        )
        return Finding(Level.CAUTION, "diagnose.stated_speed", self.recording.name, says)

    @property
    def _overall_band(self) -> tuple[float, float]:
        """Of the overall velocity: from 2 Hz for a slow drive. [Hz]"""
        ratings = self.drive.ratings
        return applicable(power=ratings.power, speed_hz=self.drive.speed_hz, support=ratings.support).band_hz

    def _overall(self, spectrum: Transform) -> float | None:
        low, high = self._overall_band
        if self.recording.sample_rate_hz < 2.56 * high or spectrum.bin_hz > low / 2:
            return None
        if low < _USUAL_LOW_HZ and any(finding.rule == "quality.ski_slope" for finding in self.quality):
            return None  # the sensor's, not the drive's
        return float(overall_velocity(spectrum, unit=self.recording.unit, lowest_hz=low, highest_hz=high))

    def _rough_running(self, spectrum: Transform, speed_hz: float, velocity: float, rating: Rating) -> _Rough:
        """Overall vibration in zone C or D, with the line that makes most of it: all recordings together may name its cause."""
        shares = {}
        low, high = self._overall_band
        for line in self.lines:
            hz, reach = line.hz(speed_hz), _BESIDE_LINE * spectrum.bin_hz
            if line.kind in ("shaft", "mesh") and low + reach < hz < high - reach:
                alone = overall_velocity(spectrum, unit=self.recording.unit, lowest_hz=hz - reach, highest_hz=hz + reach)
                shares[line.name] = float(alone / velocity) ** 2
        most = max(shares, key=lambda name: shares[name], default="")
        by = f", {percent(shares[most])} of its power at {most}" if most else ""
        speed = f"{1000 * velocity:.2g} mm/s"
        band = "" if low == _USUAL_LOW_HZ else f", {low:g} to {high:g} Hz,"
        says = f"{self.recording.name}: overall velocity {speed}{band} is zone {rating.zone}{by} ({STAND_IN})"
        middle = next((line.hz(speed_hz) for line in self.lines if line.name == most), 0.0)
        return _Rough(
            self.recording.point, says, (middle - _BESIDE_LINE * spectrum.bin_hz, middle + _BESIDE_LINE * spectrum.bin_hz)
        )

    def _verdict(self, comb: Comb, hypothesis: Hypothesis, growth: float | None, speed_hz: float) -> dict[str, Any]:
        stage = maturity(comb)
        return {
            "component": hypothesis.component,
            "fault": hypothesis.fault,
            "fits": list(comb.fits),
            "recording": self.recording.name,
            "point": self.recording.point,
            "base_hz": comb.base_hz,
            "noise_false_alarm": comb.noise_false_alarm,
            "attribution_false_alarm": comb.attribution_false_alarm,
            "maturity": stage,
            "urgency": urgency(stage, growth),
            "strength_db": comb.strength_db,
            "growth_db": growth,
            "modulation_depth": comb.depth,
            "sidebands_found": comb.sidebands,
            "evidence": [asdict(line) for line in comb.evidence],
            "signs": [],
            "rivals": [asdict(rival) for rival in rivals(comb, self.drive, speed_hz=speed_hz)],
            "advice": [*_which_make(comb, hypothesis), *advice(comb, stage)],
        }

    def _uncertain(self, comb: Comb, hypothesis: Hypothesis, speed_hz: float) -> str:
        why = f"or a source not on this drive (attribution false alarm {comb.attribution_false_alarm:.2g})"
        if comb.attribution_false_alarm <= ATTRIBUTION_LIMIT:
            why = "or its other race or a rolling element: both races show"
        elif hypothesis.spread > SLIP_BAND:
            why += f"; its geometry is known so poorly that its band of ±{percent(hypothesis.spread)} is too wide to name it"
        found = self._comb_words(comb, "a real periodic line", speed_hz)
        return f"{found}, part uncertain: {_fault_words(hypothesis)}, {why}"

    def _faint(self, comb: Comb, hypothesis: Hypothesis, speed_hz: float) -> str:
        return (
            f"{self._comb_words(comb, 'a faint comb', speed_hz)} at the rate of {_fault_words(hypothesis)}: modulation depth "
            f"{percent(comb.depth)}, which a sound bearing under load may show too; record again in two weeks and compare"
        )

    def _comb_words(self, comb: Comb, what: str, speed_hz: float) -> str:
        return f"{self.recording.name}: {what} at {comb.base_hz:.2f} Hz (order {comb.base_hz / speed_hz:.3f})"

    def _growth(self, comb: Comb, envelope: EnvelopeSpectrum, speed_hz: float) -> float | None:
        """Growth of the comb's depth over the first recording that it may be held against, in dB; None when this is the first.

        Where the first recording shows no comb its noise is compared with, so that growth is at least this. A faint comb that a
        sound bearing could show is a fault all the same once it has grown.
        """
        if self.first is None:
            return None
        then = _depth(self.first.envelope, comb.base_hz * self.first.speed_hz / speed_hz)
        return float(20 * np.log10(_depth(envelope, comb.base_hz) / then))

    def _stranger_words(self, base_hz: float, speed_hz: float) -> str:
        """Of a comb that is none of this drive's; one at a multiple of a rate it has may be that, its lines between too weak."""
        for number, hypothesis in product(_MULTIPLES, self.hypotheses):
            if abs(base_hz / (number * hypothesis.order * speed_hz) - 1) <= max(hypothesis.spread, SLIP_BAND):
                return (
                    f"periodic impacts at {number} times the rate of {_fault_words(hypothesis)}, without lines between that stand "
                    "out: that, a neighbour, or a bearing other than described; record longer"
                )
        return "periodic impacts at a rate this drive does not have: a neighbour, or a bearing other than described"

    def _unexplained(self, spectrum: Transform, named: tuple[Comb, ...], speed_hz: float) -> list[dict[str, Any]]:
        pulsing = [
            {
                "found_hz": comb.base_hz,
                "order": comb.base_hz / speed_hz,
                "snr_db": comb.strength_db,
                "says": self._stranger_words(comb.base_hz, speed_hz),
            }
            for comb in self.judgement.strangers
        ] + [
            {
                "found_hz": comb.base_hz,
                "order": comb.base_hz / speed_hz,
                "snr_db": comb.strength_db,
                "says": f"certain but too small to matter: modulation depth {percent(comb.depth, 1)}",
            }
            for comb in self.judgement.faint
            if comb.hypothesis is None
        ]
        highest = spectrum.strength.size * spectrum.bin_hz
        combs = (*named, *self.judgement.strangers, *self.judgement.faint)
        explained = [_lines_of(comb, speed_hz, highest) for comb in combs]
        rest = unexplained_lines(
            find_lines(spectrum.strength, bin_hz=spectrum.bin_hz, chance=_LINE_CHANCE),
            self.lines,
            speed_hz=speed_hz,
            explained_hz=np.concatenate([np.empty(0), *explained]),
            bin_hz=spectrum.bin_hz,
        )
        return pulsing + [{**asdict(line), "says": "a line of the spectrum at no place the drive explains"} for line in rest]


def _lines_of(comb: Comb, speed_hz: float, highest_hz: float) -> NDArray[np.float64]:
    modulations = tuple(order * speed_hz for order in comb.hypothesis.modulations) if comb.hypothesis else ()
    return comb_lines(comb.base_hz, modulations, highest_hz=highest_hz)


def _fault_words(hypothesis: Hypothesis) -> str:
    return f"{hypothesis.fault.replace('_', ' ')} of {_part_words(hypothesis)}"


def _which_make(comb: Comb, hypothesis: Hypothesis) -> Iterator[str]:
    """Of a bearing that may be one of several makes: those this comb fits."""
    if comb.fits:
        yield f"{hypothesis.component} fits {' or '.join(comb.fits)}: read the make on its ring before ordering"


def _part_words(hypothesis: Hypothesis) -> str:
    return f"{hypothesis.component} ({hypothesis.candidate})" if hypothesis.candidate else hypothesis.component


def _depth(envelope: EnvelopeSpectrum, base_hz: float) -> float:
    """Root sum square of the depths of five harmonics, each the largest within 0.5 %."""
    total = 0.0
    for n in range(1, 6):
        at = n * base_hz / envelope.bin_hz
        low, high = int(at * 0.995), int(np.ceil(at * 1.005)) + 1
        if high < envelope.depth.size:
            total += float(envelope.depth[low:high].max()) ** 2
    return float(np.sqrt(max(total, _WEAKEST_KEPT**2)))


def _together(
    job: Job,
    recordings: list[dict[str, Any]],
    looked: Sequence[_Looked],
    weighed: Sequence[Weighed],
    beside: Sequence[str],
    changes: list[dict[str, Any]],
) -> dict[str, Any]:
    """The one document over all recordings: of each bearing fault the latest recording that shows it, every pattern, and levels."""
    latest: dict[tuple[str, str, str], dict[str, Any]] = {}
    for number, recording in enumerate(recordings):
        for verdict in recording["verdicts"]:
            absent = _not_seen_later(verdict, number, recordings, looked)
            latest[verdict["component"], verdict["fault"], verdict["point"]] = {**verdict, "advice": [*absent, *verdict["advice"]]}
    verdicts = sorted(latest.values(), key=lambda verdict: -verdict["strength_db"]) + verdict_rows(weighed)
    verdicts.sort(key=lambda verdict: -pressing(verdict["urgency"]))
    cannot_tell = [reason for recording in recordings for reason in recording["cannot_tell"]]
    cannot_tell += [*_blind_in_all(looked), *cannot_tell_rows(weighed), *beside]
    if not recordings and only_figures(job.points):
        cannot_tell.append(f"every sensor of this job gives {ONLY_A_RECORDING}")
    if recordings and all(row["speed_from"] in (*_UNSTEADY, "standing") for row in recordings):
        cannot_tell.append("no recording was taken at a steady speed: no bearing was judged")
    blind = [bearing.name for bearing in job.drive.bearings if not bearing.candidates]
    not_testable = [
        *({"component": name, "fault": "any", "why": "its geometry is unknown"} for name in blind),
        *_unique(row for recording in recordings for row in recording["not_testable"]),
        *not_testable_rows(job.drive, weighed),
    ]
    return {
        "schema": "diagnose/1",
        "job": job.title,
        "clean": not verdicts and not cannot_tell and bool(recordings),
        "statement": _statement(verdicts, cannot_tell, recordings),
        "cannot_tell": cannot_tell,
        "unexplained": [
            {**row, "recording": recording["name"]}
            for recording in recordings
            for row in recording["unexplained"]
            if not explained_by(weighed, row["found_hz"], speed_hz=recording["speed_hz"], duration_s=recording["duration_s"])
        ],
        "verdicts": verdicts,
        "patterns": looked_rows(weighed),
        "level_changes": changes,
        "not_testable": not_testable,
        "recordings": recordings,
    }


def _not_seen_later(
    verdict: dict[str, Any], number: int, recordings: list[dict[str, Any]], looked: Sequence[_Looked]
) -> Iterator[str]:
    """What to say of a fault that later recordings of the same point could have shown and do not."""
    fault = (verdict["component"], verdict["fault"])
    later = [
        one for row, one in zip(recordings[number + 1 :], looked[number + 1 :], strict=True) if row["point"] == verdict["point"]
    ]
    absent = sum(fault in one.testable and fault not in one.shown for one in later)
    if absent:
        place = f"at {verdict['point']}" if verdict["point"] else "of a point that nobody has named"
        yield (
            f"seen last in {verdict['recording']}; not seen in {absent} later recording{'s' if absent > 1 else ''} {place}; "
            "falling after a rise is not recovery: record again at the same speed and load before putting it aside"
        )


def _rough_rows(rough: Sequence[_Rough], weighed: Sequence[Weighed], records: Sequence[Recorded]) -> Iterator[str]:
    """Rough running that no claimed pattern makes, and what would tell its cause."""
    for one in rough:
        claimed = [found for found in weighed if found.answer is Answer.CLAIMED and _makes(found, one)]
        if any(one.point == seen.recording.point for found in claimed for seen in found.seen_in):
            continue
        measured = {record.recording.taken.direction for record in records if record.recording.point == one.point}
        if {"horizontal", "vertical", "axial"} <= measured:
            yield f"{one.says}; no pattern of shafts, motor or neighbours is sure to make it: see which signs each still needs"
        else:
            yield (
                f"{one.says}; unbalance, misalignment, looseness and the coupled machine cannot be told apart from one direction: "
                "measure two radial and the axial direction on both sides of the coupling"
            )


def _makes(found: Weighed, rough: _Rough) -> bool:
    lowest, highest = rough.most_hz
    return any(line.found_hz is not None and lowest <= line.found_hz <= highest for line in found.lines)


def _blind_in_all(looked: Sequence[_Looked]) -> Iterator[str]:
    """Bearings of known geometry of which no recording could test either race: what was not looked for is not clean."""
    tested = {component for one in looked for component, fault in one.testable if fault in _RACES}
    said: dict[str, dict[str, None]] = {}
    for one in looked:
        for (component, fault), why in one.why_not.items():
            if component not in tested and fault in _RACES:
                said.setdefault(component, {})[why] = None
    yield from (f"{component}, no race fault could be tested in any recording: {'; '.join(why)}" for component, why in said.items())


def _unique(rows: Iterable[dict[str, str]]) -> list[dict[str, str]]:
    return list({tuple(row.items()): row for row in rows}.values())


def _statement(verdicts: list[dict[str, Any]], cannot_tell: list[str], recordings: list[dict[str, Any]]) -> str:
    if verdicts:
        return "; ".join(f"{v['component']}: {_named(v['fault'])}, {v['urgency']}" for v in verdicts)
    if cannot_tell:
        return f"cannot tell: {cannot_tell[0]}"
    return CLEAN if recordings else "no recording judged"


def _named(fault: str) -> str:
    """A fault for people: of a bearing's part that is at fault, or a pattern by its own name."""
    return f"{fault.replace('_', ' ')} fault" if fault in BEARING_RATES else fault
