"""Results as words for a terminal: the answer first, then what it rests on."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from gearcase.drawings.block import time_words
from gearcase.drawings.installed import level_words, repeated
from gearcase.drawings.limit_words import detection_words, family_words, limit_holds, settling_words, yearly_words
from gearcase.drawings.list_blocks import cut_words, for_all, opened_jobs, pick_words
from gearcase.drawings.outage_words import outage_words
from gearcase.drawings.site_blocks import site_blocks

__all__ = [
    "baseline_text",
    "built_rows",
    "campaign_text",
    "collision_words",
    "diagnose_text",
    "fit_text",
    "plan_text",
    "prove_text",
    "replaced_rows",
    "survey_text",
    "zone_table_name",
]

FINEST_ODDS = 1e-3  # of 600 simulated drives; beyond it a figure would claim more than was tried
_MOST_LINES = 40
_MOST_COLLISIONS = 5
_SEEN = {True: "seen", False: "not seen", None: "cannot be seen"}
_GRADES = ("true", "detectable", "not seen")
_BUILT_NAMES = {
    "at": "place",
    "bond.metal_temperature": "metal while bonding",
    "bond.made": "bonded",
    "bond.left": "left to cure",
    "wall": "wall",
    "depth": "drilled depth",
}
_BLIND_FIRST = {"blind": 0, "seen weakly": 1, "seen": 2}


def survey_text(document: dict[str, Any]) -> str:
    """A survey as words: what turns, its main lines, what to record, what is seen, what is unknown."""
    drive = document["drive"]
    low, high = drive["speed_range_hz"]
    speed = f"{60 * low:.4g} to {60 * high:.4g} rpm" if low != high else f"{60 * high:.4g} rpm"
    parts = [f"{document['job']}: {drive['name']}, {drive['reference_shaft']} at {speed}"]
    parts += [f"open contradiction: {row['where']}: {row['says']}" for row in document.get("contradictions", ())]
    parts += ["", *(f"{row['level']}: {row['where']}: {row['says']}" for row in document["findings"])]
    main = [line for line in document["lines"] if line["harmonic"] == 1 and line["kind"] != "sideband"]
    rows = [
        (line["name"], f"{line['hz']:.3f}", f"{line['order']:.4f}" if line["order"] > 0 else "-", line["origin"])
        for line in main[:_MOST_LINES]
    ]
    parts += _table(("line", "Hz at rated speed", "order", "known from"), rows)
    if len(main) > _MOST_LINES:
        parts.append(f"... and {len(main) - _MOST_LINES} more; --json lists all, with sidebands and harmonics")
    parts += ["", *_measurement(document["measurement"]), *_acceptance(document)]
    parts += ["", *inferred_words(document.get("inferred"))]
    seen = sorted(document["coverage"], key=lambda row: _BLIND_FIRST[row["grade"]])
    parts += ["", *_table(("part", "coverage", "why"), [(row["component"], row["grade"], row["why"]) for row in seen])]
    unknown = document["unknown"]
    stops = sum(row["blocks_ordering"] for row in unknown)
    parts += ["", f"still unknown: {len(unknown)} questions, {stops} of which stop ordering"]
    parts += [f"  {'[stops ordering] ' if row['blocks_ordering'] else ''}{row['what']}" for row in unknown]
    return "\n".join(parts)


def _measurement(setting: Mapping[str, Any]) -> Iterator[str]:
    for record in setting.get("records", ()):
        yield (
            f"record {record['name']} ({record['purpose']}): to {_hertz(record['highest_hz']['value'])}, sample rate "
            f"{_hertz(record['rate_hz']['value'])} or more, {record['samples']['value']:.0f} samples or "
            f"{record['length_s']['value']:.3g} s, {record['resolution_hz']['value']:.3g} Hz a bin, "
            f"averages: {record['averages']['value']:.0f}"
        )
    met = setting.get("collisions", ())
    if met:
        yield f"lines of different parts that these records cannot tell apart: {len(met)} pairs of parts"
    for pair in met[:_MOST_COLLISIONS]:
        yield f"  {' and '.join(pair['lines'])}: {collision_words(pair)}"
    if len(met) > _MOST_COLLISIONS:
        yield f"  ... and {len(met) - _MOST_COLLISIONS} more; --json lists all"


def _hertz(hz: float) -> str:
    """To the hertz, of slow drives to three figures."""
    return f"{hz:.0f} Hz" if hz >= 100 else f"{hz:.3g} Hz"


def collision_words(pair: Mapping[str, Any]) -> str:
    """Why two lines cannot be told apart, and the record that would do it."""
    if pair["kind"] == "coincide":
        return "one frequency at every speed"
    if pair["kind"] == "cross":
        return f"meet at {60 * pair['speed_hz']:.0f} rpm"
    apart = f"{pair['gap_hz']:.2g} Hz apart at {60 * pair['speed_hz']:.0f} rpm"
    if pair["kind"] == "overlap":
        return f"{apart}, closer than they are known"
    return f"{apart}: {pair['record_length_s']:.0f} s to tell them apart"


def _acceptance(document: Mapping[str, Any]) -> Iterator[str]:
    accepted = document.get("acceptance")
    if accepted is None:
        return
    for table in accepted["tables"]:
        limits = ", ".join(f"{1000 * limit:.3g}" for limit in table["boundaries_m_s"])
        yield f"zones A/B, B/C, C/D at {limits} mm/s: {zone_table_name(table)}"
    yield from (f"  {why}" for why in accepted["why"])
    yield f"  {accepted['stand_in']}"


def zone_table_name(table: Mapping[str, Any]) -> str:
    """Standard, group and support of a zone table."""
    group = table["group"] if table["group"].startswith("class") else f"group {table['group']}"
    return ", ".join(part for part in (table["standard"], group, table["support"]) if part)


def odds_words(odds: float) -> str:
    """Odds no finer than simulation has shown them to be."""
    if odds < FINEST_ODDS:
        return f"below {FINEST_ODDS:g}"
    return f"above {1 - FINEST_ODDS:g}" if odds > 1 - FINEST_ODDS else f"{odds:.3f}"


def inferred_words(inferred: dict[str, Any] | None) -> list[str]:
    """What recordings tell of the drive, in sentences."""
    if not inferred:
        return []
    words = []
    for row in inferred["speeds"]:
        if row["told"] and row["standard_error_hz"] is not None:
            speed = f"{60 * row['hz']:.6g} rpm, standard error {60 * row['standard_error_hz']:.2g} rpm"
            words.append(f"{row['recording']}: {speed}, {row['says']}")
        else:
            words.append(f"{row['recording']}: {row['says']}")
    teeth = inferred["teeth"]
    if teeth and "combinations" in teeth:
        verdict = "decided" if teeth["decided"] else "cannot decide"
        words.append(f"tooth counts by {teeth['recording']}: {verdict}; odds of none of these {odds_words(teeth['none'])}")
        for one in teeth["combinations"]:
            counts = ", ".join("/".join(map(str, pair)) for pair in one["teeth"])
            words.append(f"  {counts}: odds {odds_words(one['odds'])}, {one['found']} of {one['expected']} lines found")
        if teeth["measurement"]:
            words.append(f"  to decide: {teeth['measurement']['says']}")
    elif teeth:
        words.append(teeth["says"])
    return words + [f"{row['bearing']}: {row['says']}" for row in inferred["bearings"]]


def plan_text(document: dict[str, Any]) -> str:
    """A plan as words: blockers first, then each part, the bus, what to bring, and the work card."""
    blockers = sum(row["level"] == "blocker" for row in document["findings"])
    parts = [f"{document['job']}: {f'do not proceed, blockers: {blockers}' if blockers else 'nothing blocks this plan'}", ""]
    parts += [f"{row['level']}: {row['where']}: {row['says']}" for row in document["findings"]]
    rows = [
        (
            part["name"],
            part["mount"] or "not said",
            f"{part['hole']['thread']}, drill {part['hole']['drill']}" if part["mount"] == "stud" and part["hole"] else "",
            f"{part['band']['true_hz']:.0f}" if part["band"] else "",
            " ".join(f"{grade} {sum(line['grade'] == grade for line in part['lines'])}" for grade in _GRADES),
        )
        for part in document["parts"]
    ]
    parts += ["", *_table(("part", "mount", "hole", "true to, Hz", "lines by grade"), rows)]
    if document["bus"]["devices"]:
        devices = [
            (row["name"], str(row["address"]), str(row["registers"]), f"{1000 * row['reading_s']['value']:.1f}")
            for row in document["bus"]["devices"]
        ]
        parts += ["", *_table(("device", "address", "registers", "reading, ms"), devices)]
        parts.append(f"one round of the bus at {document['bus']['baud']} baud: {document['bus']['round_s']:.3f} s")
    parts += _held(document)
    for hole in document["clearance_holes"]:
        parts.append(f"clearance hole for {hole['size']}, {hole['fit']} fit: drill {hole['drill']} ({hole['for']})")
    parts += outage_words(document)
    parts += _site_rows(document)
    for cut in document["cut_lists"]:
        parts += ["", *cut_words(cut)]
    parts += ["", "bring:", *pick_words(document["pick"])]
    parts += ["", "work card:", f"  {document['cautions']['defers']}"]
    for step in document["work_card"]:
        parts.append(f"  {step['number']:2d}. {step['where']}: {step['do']}")
        if step["only_by"]:
            parts.append(f"      {step['only_by']}")
        reach = [step[key] for key in ("tool", "value", "tolerance") if step.get(key)]
        if reach:
            parts.append(f"      {'; '.join(reach)}")
        parts += [f"      caution: {caution}" for caution in step["caution"].splitlines()]
    return "\n".join(parts)


def _site_rows(document: Mapping[str, Any]) -> Iterator[str]:
    """The tables of a plan's page on wiring, volts, mains and network."""
    for block in site_blocks(dict(document)):
        if block.kind == "heading":
            yield from ("", f"{block.text.lower()}:")
        elif block.kind == "table":
            yield from _table(block.head, block.rows)
        elif block.kind in ("text", "note"):
            yield block.text


def _held(document: Mapping[str, Any]) -> Iterator[str]:
    """Positions, bonds, orientation, sump sensor and brackets of a plan, a line each."""
    for row in document["positions"]:
        best = f"{row['ranked'][0]['pad']}: {'; '.join(row['ranked'][0]['reasons'])}" if row["ranked"] else "no spot will do"
        yield f"{row['point']} on face {row['face']}, best {best}"
        yield from (f"  rejected {one['pad']}: {'; '.join(one['reasons'])}" for one in row["rejected"])
    for part in document["parts"]:
        if part["bond"] and (times := part["bond"]["schedule_s"]):
            yield (
                f"{part['name']}, {part['bond']['adhesive']}: close within {times['close_within'] / 60:.0f} min, load after "
                f"{times['no_load_until'] / 3600:.1f} h, full cure {times['full'] / 3600:.0f} h, baseline after "
                f"{times['baseline_after'] / 3600:.0f} h"
            )
    for row in document["orientation"]:
        rest = ", ".join(f"{axis} {value:+.2f}" for axis, value in zip("xyz", row["gravity_m_s2"], strict=True))
        yield f"{row['point']}: mark at {row['clock']:g} o'clock on face {row['face']}; at rest {rest} m/s2"
    if sump := document["sump"]:
        threads = ", ".join(one["thread"] for one in sump["candidates"]) or "not known"
        yield f"sump sensor: {sump['port'] or 'port not said'}, thread {threads}"
    for row in document["brackets"]:
        tight = (
            f"{row['thread']} grade {row['grade']}, {row['torque']['value']:.3g} N m"
            if row["torque"]
            else "no screws into the housing"
        )
        yield f"{row['name']}: {', '.join(row['holes']) or row['face'] or 'a stand of its own'}, {tight}"


def campaign_text(document: dict[str, Any]) -> str:
    """A campaign as words: the jobs with what stops each, then the lists of all."""
    parts = [document["statement"], *(f"{row['level']}: {row['where']}: {row['says']}" for row in document["findings"]), ""]
    parts += _table(("job", "state", "cautions"), [(row["title"], row["state"], str(row["cautions"])) for row in document["jobs"]])
    for job in document["jobs"]:
        parts += [f"{job['title']}: {row['where']}: {row['says']}" for row in job["stops"]]
    for cut in document["cut_lists"]:
        parts += ["", *cut_words(cut)]
    parts += ["", "bring, blocked jobs counted, jobs not planned left out:", *pick_words(for_all(document))]
    if document["tally"]:
        parts += [
            "",
            f"found on opening, over {opened_jobs(document)}, 90 % intervals:",
            *(row["says"] for row in document["tally"]),
        ]
    return "\n".join(parts)


def prove_text(document: dict[str, Any]) -> str:
    """The proving as words: whether one may go home, what is in the way and whose it is, all evidence, then every attempt."""
    parts = [document["statement"], f"caution: {document['caution']}"]
    if document["before_going_home"]:
        parts += ["", "before going home:"]
        for row in document["before_going_home"]:
            owner = f" (owner: {row['owner']})" if row.get("owner") else ""
            parts.append(f"  {row['outcome']}: {row['device']}, {row['step']}: {row['says']}{owner}")
    rows = [(row["device"], row["step"], row["outcome"], row["measured"]) for row in document["evidence"]]
    parts += ["", *_table(("device", "step", "outcome", "measured"), rows)]
    again = repeated(document)
    if again:
        head = ("when", "who", "device", "step", "outcome", "measured")
        parts += ["", "tried more than once:", *_table(head, [tuple(str(row[key]) for key in head) for row in again])]
    return "\n".join(parts)


def fit_text(document: Mapping[str, Any]) -> str:
    """A fit as words: the answer, what was found, each point as built, flagged entries, open steps."""
    parts = [f"{document['job']}: {document['statement']}"]
    if document["findings"]:
        parts.append("")
    parts += [f"{row['level']}: {row['where']}: {row['says']}" for row in document["findings"]]
    for row in (*document["points"], *document["devices"]):
        if not row["entries"]:
            parts += ["", f"{row['name']}: nothing entered"]
            continue
        parts += ["", f"{row['name']}:"]
        parts += [f"  {name}: {value} ({source})" for name, value, source in built_rows(row)]
        parts += [f"  was: {name} {value}, replaced by entry {by}" for name, value, by in replaced_rows(row)]
        if row.get("cured_at"):
            parts.append(f"  fully cured {time_words(row['cured_at'])}; no baseline before that")
        if row.get("not_entered"):
            parts.append(f"  not entered: {', '.join(_BUILT_NAMES.get(item, item) for item in row['not_entered'])}")
    parts += ["", "open steps of the work card:" if document["open_steps"] else "every step of the work card is done"]
    parts += [f"  {step['number']:2d}. {step['where']}: {step['do']}" for step in document["open_steps"]]
    return "\n".join(parts)


def built_rows(row: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """What was built at a point or device: what, value, and by which entry."""
    for value in row["built"]:
        because = f", {value['because']}" if value["because"] else ""
        source = f"entry {value['entry']}, {value['who']}, {value['done']}{because}"
        yield _BUILT_NAMES.get(value["item"], value["item"]), time_words(value["shown"]), time_words(source)
    for photo in row.get("photos", ()):
        yield "photo", photo["file"], f"sha256 {photo['sha256'][:12]}"


def replaced_rows(row: Mapping[str, Any]) -> Iterator[tuple[str, str, int]]:
    """What was replaced at a point or device: what, the value it had, and the entry that replaced it."""
    for value in row["superseded"]:
        yield _BUILT_NAMES.get(value["item"], value["item"]), time_words(value["shown"]), value["by"]


def baseline_text(document: dict[str, Any]) -> str:
    """A baseline as words: the status, what was found, the limits in force until when, and what still lacks."""
    parts = [document["statement"], ""]
    parts += [f"{row['level']}: {row['where']}: {row['says']}" for row in document["findings"]]
    rows = [
        (
            limit["point"],
            limit["quantity"],
            *(level_words(limit[name] and limit[name]["value"], limit["unit"]) for name in ("yellow", "danger", "low")),
            yearly_words(limit["false_alarms_per_year"]["yellow"]),
            limit["kind"],
            limit_holds(limit),
            limit["expires"][:10],
        )
        for limit in document["limits"]
    ]
    head = ("point", "quantity", "yellow", "danger", "low", "false yellows a year", "kind", "holds at", "expires")
    parts += ["", *_table(head, rows)] if rows else []
    told = [words for limit in document["limits"] for words in detection_words(limit)]
    parts += ["", "how long a growth would go unnoticed:", *(f"  {words}" for words in told)] if told else []
    for point in document["points"]:
        duty = point["duty"]
        parts += [
            "",
            f"{point['point']}: {duty['run_minutes']:.0f} min run, {duty['judged_minutes']:.0f} min settled and judged "
            f"({100 * duty['judged_share']:.0f} %), {duty['starts']} starts seen",
            *(f"  for limits of its own: {lack}" for lack in point["lacks_for_one_week"]),
            *(f"  {words}" for words in (*settling_words(point.get("settling")), *family_words(point.get("families", ())))),
        ]
    notes = sorted({f"{limit['quantity']}: {limit['note']}" for limit in document["limits"] if limit["note"]})
    return "\n".join([*parts, *(["", *notes] if notes else [])])


def diagnose_text(document: dict[str, Any]) -> str:
    """A diagnosis as words: the statement, each verdict with its evidence, and what always stands beside."""
    parts = [document["statement"]]
    for verdict in document["verdicts"]:
        growth, signs = verdict.get("growth_db"), verdict.get("signs", ())
        parts += [
            "",
            f"{verdict['component']}: {verdict['fault'].replace('_', ' ')}{'' if signs else ' fault'}, in {verdict['recording']}",
            f"  chance that noise alone does this: {_at_most(verdict['noise_false_alarm'])}",
            f"  chance that it belongs elsewhere:   {verdict['attribution_false_alarm']:.2g}",
            f"  {_mature(verdict)}{verdict['urgency']}",
            *([f"  grown {growth:+.1f} dB since the first recording of this point in this state"] if growth is not None else []),
        ]
        rows = [
            (line["line"], f"{line['expected_hz']:.2f}", "-", f"- {line['why']}")
            if line["found_hz"] is None
            else (line["line"], f"{line['expected_hz']:.2f}", f"{line['found_hz']:.2f}", f"{line['snr_db']:.1f}")
            for line in verdict["evidence"]
        ]
        if rows:
            parts += ["  " + row for row in _table(("line", "expected Hz", "found Hz", "dB over noise"), rows)]
        parts += [f"  {sign['role']}, {_SEEN[sign['seen']]}: {sign['name']}: {sign['says']}" for sign in signs]
        parts += [f"  rival: {rival['name']} ({rival['why']}); to tell: {rival['separated_by']}" for rival in verdict["rivals"]]
        parts += [f"  do: {step}" for step in verdict["advice"]]
    if document["cannot_tell"]:
        parts += ["", "cannot tell:", *(f"  {reason}" for reason in document["cannot_tell"])]
    parts += ["", f"lines not explained by this drive: {len(document['unexplained']) or 'none'}"]
    parts += [
        f"  {row['found_hz']:.2f} Hz (order {row['order']:.3f}), {row['snr_db']:.1f} dB over noise, "
        f"{row['recording']}: {row['says']}"
        for row in document["unexplained"][:_MOST_LINES]
    ]
    if levels := document.get("level_changes"):
        parts += ["", "levels in the same state:"]
        parts += [f"  {row['recording']} against {row['since']}: {row['says']}" for row in levels]
    parts += ["", "could not be tested:"]
    parts += [f"  {row['component']}: {row['fault'].replace('_', ' ')}: {row['why']}" for row in document["not_testable"]]
    parts += ["", "recordings:"]
    parts += [
        f"  {row['name']}: {row['channel']}, {row['sample_rate_hz']:.6g} Hz, {row['duration_s']:.3g} s, {row['unit']}; "
        f"{row['found']}"
        for row in document["recordings"]
    ]
    warnings = [(recording, row) for recording in document["recordings"] for row in recording["quality"]]
    if warnings:
        parts += ["", "quality of the recordings:"]
        parts += [f"  {recording['name']}: {row['level']}: {row['says']}" for recording, row in warnings]
    return "\n".join(parts)


def _mature(verdict: dict[str, Any]) -> str:
    return "" if verdict["maturity"] is None else f"maturity {verdict['maturity']} of 4; "


def _at_most(chance: float) -> str:
    return f"{chance:.2g} or less" if chance <= 3e-4 else f"{chance:.2g}"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Columns padded to their widest cell, under a head with a rule for each: what the terminal folds by (`cli.folding`)."""
    cells = [list(head), *(list(row) for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in cells]
    return [lines[0], "  ".join("-" * width for width in widths), *lines[1:]]
