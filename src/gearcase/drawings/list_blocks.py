"""What a plan has people carry and sign: pick list, cut lists, work card, and the page before they leave home; of a campaign too.

Blocks for pages: `card_blocks`, `cut_blocks`, `pick_blocks`, `drawing_blocks`, `leaving_blocks`, `campaign_blocks`. Sheets to
print: `work_card`, `leaving_page`, `campaign_sheet`. Lines for a terminal: `pick_words`, `cut_words`.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from gearcase.drawings.block import Block, Report, first_up
from gearcase.drawings.drafting import TitleBlock
from gearcase.drawings.opened_blocks import tally_blocks

__all__ = [
    "campaign_blocks",
    "campaign_sheet",
    "card_blocks",
    "cut_blocks",
    "cut_words",
    "drawing_blocks",
    "for_all",
    "leaving_blocks",
    "leaving_page",
    "opened_jobs",
    "pick_blocks",
    "pick_words",
    "work_card",
]

_MOST_FOR = 4  # names in a cell, then a count
_MOST_OPEN = 8
_NOBODY = Block("note")
_TEMPLATES = (
    "Drill templates 1:1 are kept with the plan as template-N.pdf. Print at 100 %; measure both bars with a steel rule before use: "
    "each must be 100.0 mm long."
)


def card_blocks(plan: Mapping[str, Any], *, folds: bool = False) -> Iterator[Block]:
    """The work card: what, with what, to which value, what can hurt, room to sign; its steps fold on a page that has more."""
    rows = tuple(
        (
            str(step["number"]),
            step["where"],
            "\n".join((_does(step), *(f"Caution: {caution}" for caution in step["caution"].splitlines()))),
            step.get("tool", ""),
            "; ".join(one for one in (step.get("value", ""), step.get("tolerance", "")) if one),
            "",
        )
        for step in plan["work_card"]
    )
    head = ("", "where", "do", "with", "value", "done by, date")
    yield Block("heading", "Work card", level=2)
    yield Block("text", plan["cautions"]["defers"])
    says = f"The {len(rows)} steps, with their cautions" if folds else ""
    wide = (0.45, 1.4, 5.6, 1.5, 1.5, 1.1)
    yield Block("table", says, head=head, rows=rows, wide=wide, numbers=(0,), tall=True, folds=folds)


def cut_blocks(cuts: Sequence[Mapping[str, Any]]) -> Iterator[Block]:
    """The cut lists: a row for each bar, in the order of the saw; then what is bought, wasted, and whether less would do."""
    for cut in cuts:
        yield Block("heading", f"Cut list, {cut['of']}", level=2)
        rows = tuple(
            (str(number), bar["stock"], _pieces(bar["pieces"]), f"{1000 * bar['left']['value']:.0f}")
            for number, bar in enumerate(cut["bars"], start=1)
        )
        if rows:
            head = ("bar", "from", "cut, in mm, longest first", "left, mm")
            yield Block("table", head=head, rows=rows, wide=(0.5, 1.6, 6, 0.9), numbers=(0, 3))
            least = "no cutting needs less" if cut["least"] else f"at least {cut['at_least_m']:.3f} m would be needed"
            kerf, waste = 1000 * cut["kerf_m"], 100 * cut["waste_m"] / cut["bought_m"]
            yield Block("text", f"{cut['bought_m']:.3f} m of stock, {waste:.0f} % waste, kerf {kerf:g} mm; {least}.")
        for key, says in (("too_long", "Longer than any stock"), ("uncut", "Left uncut for want of stock")):
            if cut[key]:
                yield Block("note", says, items=(_pieces(cut[key]),), state="danger")


def pick_blocks(rows: Sequence[Mapping[str, Any]]) -> Iterator[Block]:
    """The pick list, in the order of its groups, a table for each with a box to tick."""
    if rows and "group" not in rows[0]:  # a plan kept before lists had groups
        yield Block("table", head=("what", "for"), rows=tuple((row["what"], row["for"]) for row in rows), wide=(4, 2))
        return
    for group, inside in groupby(rows, key=lambda row: row["group"]):
        held = list(inside)
        last = "rule (common practice)" if group == "spares" else "for"
        told = tuple(("☐", str(row["quantity"]), _what(row), row["rule"] or _for(row["for"])) for row in held)
        named = f"{first_up(group)}: {len(held)}"
        yield Block(
            "table", named, head=("", "", first_up(group), last), rows=told, wide=(0.35, 0.45, 4.2, 4), numbers=(1,), folds=True
        )


def pick_words(rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """The pick list as lines for a terminal."""
    for group, inside in groupby(rows, key=lambda row: row["group"]):
        yield f"  {group}:"
        yield from (f"    {row['quantity']:3d} {_what(row)} ({row['rule'] or _for(row['for'])})" for row in inside)


def cut_words(cut: Mapping[str, Any]) -> Iterator[str]:
    """A cut list as lines for a terminal."""
    least = ", the least" if cut["least"] else ""
    yield f"cut list, {cut['of']}: {cut['bought_m']:.3f} m of stock, {cut['waste_m']:.3f} m waste{least}"
    for bar in cut["bars"]:
        yield f"  {bar['stock']}: {_pieces(bar['pieces'])}; {1000 * bar['left']['value']:.0f} mm left"


def drawing_blocks(plan: Mapping[str, Any]) -> Iterator[Block]:
    """What to know of the templates, where there are any."""
    if any(part["mount"] == "stud" and part["hole"] and part["at_m"] for part in plan["parts"]):
        yield Block("text", _TEMPLATES)


def leaving_blocks(leaving: Mapping[str, Any]) -> Iterator[Block]:
    """The page before leaving home: forks, what stops the job, then boxes to tick."""
    if leaving["stops"]:
        asked: dict[str, list[str]] = {}
        for row in leaving["stops"]:
            asked.setdefault(row["where"], []).append(row["what"])
        items = tuple(f"{first_up(where)}: {' · '.join(says)}" for where, says in asked.items())
        yield Block("note", "Without an answer, do not travel", items=items, state="action")
    forks = tuple(
        (
            f"{row['where']}: {row['unknown']}",
            f"{row['one']}. Pack: {row['pack_one']}",
            f"{row['other']}. Pack: {row['pack_other']}",
            row["stops"],
        )
        for row in leaving["forks"]
    )
    if forks:
        head = ("unknown until you are there", "either: pack", "or: pack as well", "stops the job")
        yield Block("table", head=head, rows=forks, wide=(2, 2.6, 2.6, 1.6))
    asks = tuple(
        ("☐", row["what"], row["owner"] or "not named", row["lead"], "") for row in leaving["permissions"] if not row.get("granted")
    )
    if asks:
        yield Block("table", head=("", "permission", "from", "takes", "got, date"), rows=asks, wide=(0.35, 4.4, 2.2, 1.2, 1.4))
    granted = [row["what"] for row in leaving["permissions"] if row.get("granted")]
    if granted:
        yield Block("text", f"Granted already, bring it in writing: {'; '.join(granted)}.")
    yield from _isolation(leaving.get("isolation"))
    bench = tuple(("☐", says) for says in leaving["bench"])
    if bench:
        yield Block("table", head=("", "bench stage, done at home"), rows=bench, wide=(0.35, 9.2))
    yield Block("list", "Weather and metal", items=tuple(leaving["conditions"]))
    if leaving["open"]:
        more = len(leaving["open"]) - _MOST_OPEN
        still = "; ".join(leaving["open"][:_MOST_OPEN]) + (f"; and {more} more, on the sheet of questions" if more > 0 else "")
        yield Block("text", f"Still open, stops nothing: {still}.")


def _isolation(held: Mapping[str, Any] | None) -> Iterator[Block]:
    """What will be isolated, by whom, and whether that is agreed."""
    if held is None or not held["points"]:
        yield Block("note", "Nobody has listed what is isolated or blocked: no work before that is agreed", state="action")
        return
    agreed = "agreed with the owner" if held["agreed"] else "not yet agreed with the owner"
    title = f"Isolated or blocked, {agreed}; the lock is held by {held['by'] or 'nobody named'}"
    yield Block("list", title, items=tuple(held["points"]))


def work_card(plan: Mapping[str, Any], block: TitleBlock) -> Report:
    """The work card with its lists, to be printed and signed."""
    blockers = tuple(f"{row['where']}: {row['says']}" for row in plan["findings"] if row["level"] == "blocker")
    blocks = [
        *((Block("note", "Do not proceed", items=blockers, state="danger"),) if blockers else ()),
        *card_blocks(plan),
        Block("break"),
        *drawing_blocks(plan),
        *cut_blocks(plan["cut_lists"]),
        Block("heading", "Bring", level=2),
        *pick_blocks(plan["pick"]),
    ]
    return _sheet(plan["job"], "Work card and lists", block, blocks)


def leaving_page(plan: Mapping[str, Any], block: TitleBlock) -> Report:
    """The page before leaving home, to be printed."""
    return _sheet(plan["job"], "Before you leave home", block, list(leaving_blocks(plan["before_leaving"])))


def campaign_sheet(campaign: Mapping[str, Any], block: TitleBlock) -> Report:
    """A campaign's jobs and lists, to be printed."""
    return _sheet(block.job, "Campaign lists", block, list(campaign_blocks(campaign)))


def campaign_blocks(campaign: Mapping[str, Any]) -> Iterator[Block]:
    """Every job with what blocks it, then the lists of all."""
    yield Block("note", first_up(campaign["statement"]), state="none" if campaign["ready"] == len(campaign["jobs"]) else "action")
    rows = tuple(
        (job["title"], job["folder"], job["state"], " · ".join(f"{row['where']}: {row['says']}" for row in job["stops"]))
        for job in campaign["jobs"]
    )
    yield Block("table", head=("job", "folder", "state", "what stops it"), rows=rows, wide=(2, 2, 1, 5))
    yield Block("text", "Blocked jobs are counted in the lists, for they will need their kit once cured; jobs not planned are not.")
    if campaign["findings"]:
        yield Block("list", "To look at", items=tuple(f"{row['where']}: {row['says']}" for row in campaign["findings"]))
    yield from cut_blocks(campaign["cut_lists"])
    yield Block("heading", "Bring", level=2)
    yield from pick_blocks(for_all(campaign))
    if campaign["tally"]:
        yield Block("heading", f"Found on opening, over {opened_jobs(campaign)}", level=2)
        yield from tally_blocks(campaign["tally"])


def opened_jobs(campaign: Mapping[str, Any]) -> str:
    """How many of the jobs have been opened, in words."""
    count, of = campaign["opened_jobs"], len(campaign["jobs"])
    return f"{count} of {of} job{'s' if of > 1 else ''}"


def for_all(campaign: Mapping[str, Any]) -> list[dict[str, Any]]:
    """A campaign's pick list as it is read: what every planned job needs is for all of them."""
    planned = sum(job["state"] != "not planned" for job in campaign["jobs"])
    return [{**row, "for": ["all jobs"] if len(row["for"]) == planned > 1 else row["for"]} for row in campaign["pick"]]


def _sheet(title: str, subtitle: str, block: TitleBlock, blocks: list[Block]) -> Report:
    cells = (("job", block.job), ("sheet", subtitle), ("stage", block.stage), ("run", block.run), ("date", block.date))
    return Report(
        title=title,
        subtitle=subtitle,
        facts=(),
        title_block=(*cells, ("checksum", block.checksum)),
        cover_note=_NOBODY,
        cover_svg="",
        blocks=tuple(blocks),
    )


def _does(step: Mapping[str, Any]) -> str:
    return f"{step['do']}\n{step['only_by']}" if step.get("only_by") else str(step["do"])


def _what(row: Mapping[str, Any]) -> str:
    """A thing to bring; of what comes in tubes with how much is needed."""
    return f"{row['what']}, {row['millilitres']:.2g} ml or more in all" if row.get("millilitres") else str(row["what"])


def _for(names: Sequence[str]) -> str:
    more = len(names) - _MOST_FOR
    return "; ".join(names[:_MOST_FOR]) + (f"; and {more} more" if more > 0 else "")


def _pieces(pieces: Sequence[Mapping[str, Any]]) -> str:
    """``2 x 300 foot, 1 x 1800 post``; alike ones together, with their job in a campaign."""
    counted: dict[tuple[str, float, str], int] = {}
    for piece in pieces:
        key = piece["name"], piece["length_m"], piece["job"]
        counted[key] = counted.get(key, 0) + 1
    return ", ".join(
        f"{count} x {1000 * length:.6g} {name}{f' ({job})' if job else ''}" for (name, length, job), count in counted.items()
    )
