"""A page's blocks in sections, each under its heading with an address of its own, for the list of what is on the page."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import count

from gearcase.drawings.block import Block

__all__ = ["LEAST_LISTED", "OF_THE_PAGE", "Section", "address", "sections"]

LEAST_LISTED = 4  # headings from which a page lists them
OF_THE_PAGE = ("drawings", "runs")  # addresses of what the page itself adds below the sections


@dataclass(frozen=True)
class Section:
    """A heading and the blocks up to the next one; `heading` is None of what stands before the first, whose `id` is empty."""

    id: str
    heading: Block | None
    blocks: tuple[Block, ...]


def sections(blocks: Iterable[Block]) -> tuple[Section, ...]:
    """Blocks parted at their headings, in their order, none lost.

    Examples
    --------
    >>> [section.id for section in sections([Block("text"), Block("heading", "Bonds"), Block("heading", "Bonds")])]
    ['', 'bonds', 'bonds-2']
    """
    parted: list[tuple[Block | None, list[Block]]] = [(None, [])]
    for block in blocks:
        if block.kind == "heading":
            parted.append((block, []))
        else:
            parted[-1][1].append(block)
    used, made = set(OF_THE_PAGE), []
    for heading, inside in parted:
        if heading:
            name = address(heading.text)
            numbered = (name if number == 1 else f"{name}-{number}" for number in count(1))
            own = next(one for one in numbered if one not in used)
            used.add(own)
            made.append(Section(own, heading, tuple(inside)))
        elif inside:
            made.append(Section("", None, tuple(inside)))
    return tuple(made)


def address(text: str) -> str:
    """A heading's words as the end of an address.

    Examples
    --------
    >>> address("Go or no go, five working days before"), address("Ω")
    ('go-or-no-go-five-working-days-before', 'part')
    """
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "part"
