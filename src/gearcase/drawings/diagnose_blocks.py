"""A diagnosis as blocks: the answer, spectra with named lines, verdicts, recordings."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gearcase.drawings.block import Block, first_up, unit_words
from gearcase.drawings.recording_plots import Judged, plot
from gearcase.judge.zones import STAND_IN
from gearcase.units import percent

__all__ = [
    "FAULT_NAMES",
    "answer_note",
    "attribution_words",
    "diagnose_blocks",
    "fault_words",
    "noise_words",
    "plot_blocks",
    "recording_blocks",
    "verdict_blocks",
]

FAULT_NAMES = {
    "outer_race": "outer race fault",
    "inner_race": "inner race fault",
    "rolling_element": "rolling element fault",
    "cage": "cage fault",
}


_MOST_UNEXPLAINED = 15


def diagnose_blocks(
    diagnose: dict[str, Any], *, survey: dict[str, Any] | None, arrays: Mapping[str, Mapping[str, NDArray[np.floating]]]
) -> Iterator[Block]:
    """A diagnosis alone: the answer, its spectra where a survey names the lines, then verdicts and recordings."""
    yield answer_note(diagnose, survey or {})
    if survey is not None:
        yield from plot_blocks(survey, diagnose, arrays)
    yield from verdict_blocks(diagnose)
    yield from recording_blocks(diagnose)


def answer_note(diagnose: dict[str, Any] | None, survey: dict[str, Any]) -> Block:
    """The answer in one note, and what of the job contradicts itself, since the answer rests on it."""
    note = _answer(diagnose)
    if not survey.get("contradictions"):
        return note
    open_ = tuple(f"Open contradiction: {row['says']} ({row['where']})." for row in survey["contradictions"])
    return replace(note, items=(*note.items, *open_), state="action" if note.state == "none" else note.state)


def _answer(diagnose: dict[str, Any] | None) -> Block:
    """The answer in one note, with its state as a word."""
    if diagnose is None:
        return Block("note", "No recording has been judged", items=("The drive is described; nothing is said of its condition.",))
    if diagnose["verdicts"]:
        lines = tuple(f"{first_up(fault_words(v))}: {v['component']}. {first_up(v['urgency'])}." for v in diagnose["verdicts"])
        danger = any(v["maturity"] == 4 or v["urgency"].startswith("stop") for v in diagnose["verdicts"])
        return Block("note", "Abnormal: a fault is seen", items=lines, state="danger" if danger else "abnormal")
    if diagnose["cannot_tell"]:
        return Block("note", "Action required: cannot tell", items=tuple(diagnose["cannot_tell"][:3]), state="action")
    return Block("note", first_up(diagnose["statement"]), items=("What cannot be seen is listed on the next page.",))


def verdict_blocks(diagnose: dict[str, Any] | None) -> Iterator[Block]:
    yield Block("break")
    yield Block("heading", "Verdicts and their evidence")
    if diagnose is None:
        yield Block("text", "No recording has been judged.")
        return
    if not diagnose["verdicts"]:
        yield Block("text", first_up(diagnose["statement"]) + ".")
    for verdict in diagnose["verdicts"]:
        yield Block("heading", first_up(f"{fault_words(verdict)}, {verdict['component']}"), level=2)
        yield Block(
            "text",
            f"Recording {verdict['recording']}, point {verdict['point'] or 'not stated'}. Noise false alarm "
            f"{_chance(verdict['noise_false_alarm'])}; attribution false alarm {_chance(verdict['attribution_false_alarm'])}."
            f"{_comb_words(verdict)}",
        )
        if verdict.get("signs", ()):
            signs = tuple((sign["role"], sign["name"], _seen(sign), sign["says"]) for sign in verdict.get("signs", ()))
            yield Block("table", head=("sign", "of the pattern", "seen", "by"), rows=signs, wide=(0.9, 2, 0.8, 3))
        rows = tuple(
            (line["line"], f"{line['expected_hz']:.2f}", f"{line['found_hz']:.2f}", f"{line['snr_db']:.1f}")
            for line in _found(verdict)
        )
        if rows:
            yield Block(
                "table",
                head=("line", "expected, Hz", "found, Hz", "over noise, dB"),
                rows=rows,
                wide=(2.4, 1, 1, 1),
                numbers=(1, 2, 3),
            )
        if masked := tuple(f"{line['line']}: {line['why']}." for line in verdict["evidence"] if line["found_hz"] is None):
            yield Block("list", "Not to be looked for in this recording", items=masked)
        others = tuple((rival["name"], rival["why"], rival["separated_by"]) for rival in verdict["rivals"])
        if not others:
            yield Block("text", "Rivals: none known.")
            continue
        yield Block("table", head=("rival", "why it could be", "what would tell"), rows=others, wide=(1.6, 2, 2.6))
    if diagnose["cannot_tell"]:
        yield Block("list", "Cannot tell", items=tuple(diagnose["cannot_tell"]))
    yield from _unexplained(diagnose)
    yield from _levels(diagnose.get("level_changes", ()))
    untested = tuple((row["component"], row["fault"].replace("_", " "), row["why"]) for row in diagnose["not_testable"])
    if untested:
        yield Block("heading", "Could not be tested", level=2)
        yield Block("table", head=("part", "fault", "why"), rows=untested, wide=(2, 2, 3))


def _comb_words(verdict: dict[str, Any]) -> str:
    """Of a bearing's comb its strength, depth and sidebands."""
    if verdict["strength_db"] is None:
        return ""
    return (
        f" Strength {verdict['strength_db']:.1f} dB over the local noise, modulation depth "
        f"{percent(verdict['modulation_depth'])}, {verdict['sidebands_found']} sidebands found."
    )


def _seen(sign: dict[str, Any]) -> str:
    return {True: "seen", False: "not seen", None: "cannot be seen"}[sign["seen"]]


def _found(verdict: dict[str, Any]) -> list[dict[str, Any]]:
    """The evidence that was found; a line that could not be looked for has no frequency."""
    return [line for line in verdict["evidence"] if line["found_hz"] is not None]


def _levels(rows: Sequence[dict[str, Any]]) -> Iterator[Block]:
    """Latest against first record of each point and state; none where no state was recorded twice."""
    if rows:
        yield Block("heading", "Levels in the same state", level=2)
        told = tuple((row["recording"], row["since"], f"{row['level_db']:+.1f}", row["says"]) for row in rows)
        yield Block("table", head=("recording", "against", "dB", "so"), rows=told, wide=(2.4, 2.4, 0.6, 3), numbers=(2,))


def _unexplained(diagnose: dict[str, Any]) -> Iterator[Block]:
    yield Block("heading", "Lines not explained by this drive", level=2)
    rows = tuple(
        (f"{row['found_hz']:.2f}", f"{row['order']:.3f}", f"{row['snr_db']:.1f}", row["recording"], row["says"])
        for row in diagnose["unexplained"][:_MOST_UNEXPLAINED]
    )
    if not rows:
        yield Block("text", "None.")
        return
    yield Block(
        "table",
        head=("Hz", "order", "dB", "recording", "what it may be"),
        rows=rows,
        wide=(0.8, 0.7, 0.6, 2.4, 3),
        numbers=(0, 1, 2),
    )
    if len(diagnose["unexplained"]) > len(rows):
        yield Block("text", f"And {len(diagnose['unexplained']) - len(rows)} more in the result file.")


def plot_blocks(
    survey: dict[str, Any], diagnose: dict[str, Any] | None, arrays: Mapping[str, Mapping[str, NDArray[np.floating]]]
) -> Iterator[Block]:
    if diagnose is None or not any(name.startswith(("waveform-", "spectrum-")) for name in arrays):
        return
    yield Block("break")
    yield Block("heading", "Plots of the recordings")
    yield Block(
        "text",
        "The thin full line is what was recorded. Dotted flags stand where this drive is expected to show lines; flags with a "
        "solid stroke and a mark are the evidence of a verdict.",
    )
    for number, recording in enumerate(diagnose["recordings"]):
        judged = Judged(survey, diagnose, arrays, number)
        made = [found for kind in _shown(judged) if (found := plot(kind, judged))]
        if made:
            yield Block("heading", f"{recording['point'] or 'Point not stated'}, {recording['name']}", level=2)
        for one in made:
            yield Block("text", one.says.removesuffix(".") + ":")
            yield Block("figure", one.caption, svg=one.sheet.svg(one.title))


def _shown(judged: Judged) -> tuple[str, ...]:
    """What of a recording helps a reader: the band of its impacts with a verdict, its waveform too and where none can be given."""
    usual = ("spectrum", "envelope", "history", "tooth-circle")
    if judged.verdicts:
        return ("spectrum", "envelope", "waveform", "kurtogram", "history", "tooth-circle")
    unfit = judged.columns("spectrum") is None
    return ("waveform",) if unfit else usual


def recording_blocks(diagnose: dict[str, Any] | None) -> Iterator[Block]:
    if diagnose is None:
        return
    yield Block("heading", "Recordings judged")
    rows = tuple(
        (
            row["name"],
            row["point"] or "not stated",
            f"{row['sample_rate_hz']:.6g}",
            f"{row['duration_s']:.3g}",
            f"{row['indicators']['rms']:.4g} {unit_words(row['unit'])}",
            f"{row['indicators']['kurtosis']:.2f}",
            _overall(row["indicators"]),
            row["sha256"][:12],
        )
        for row in diagnose["recordings"]
    )
    head = ("file", "point", "rate, Hz", "length, s", "RMS", "kurtosis", "10–1000 Hz, mm/s", "SHA-256")
    yield Block("table", head=head, rows=rows, wide=(3.1, 1.6, 0.9, 0.95, 1.2, 0.9, 1.45, 1.4), numbers=(2, 3, 4, 5, 6))
    yield Block("text", f"Zones, where shown: {STAND_IN}.")
    warned = tuple(
        f"{recording['name']}: {row['level']}: {row['says']}"
        for recording in diagnose["recordings"]
        for row in recording["quality"]
    )
    if warned:
        yield Block("list", "Quality of the recordings", items=warned)


def _overall(figures: dict[str, Any]) -> str:
    if figures["overall_velocity_mm_s"] is None:
        return ""
    zone = f" (zone {figures['zone']})" if figures["zone"] else ""
    return f"{figures['overall_velocity_mm_s']:.2f}{zone}"


def fault_words(verdict: dict[str, Any]) -> str:
    """A bearing's fault in words; a pattern has its own name."""
    return FAULT_NAMES.get(verdict["fault"], str(verdict["fault"]))


def _chance(value: float) -> str:
    return "0.0003 or less" if value <= 3e-4 else f"{value:.2g}"


def noise_words(chance: float) -> str:
    if chance <= 3e-4:
        return "Noise alone does this in fewer than 3 of 10,000 recordings."
    return f"Noise alone does this in about {chance:.2g} of recordings."


def attribution_words(chance: float) -> str:
    return f"That the lines are real but come from elsewhere has a chance of about 1 in {max(round(1 / chance), 1)}."
