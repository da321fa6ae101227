"""Words folded to the width of a terminal: at words, a continued line indented under its own; a table's cells within their columns.

A table is known by its ruled head, a row of dashes for each column (`drawings.text`). Only what a person reads at a terminal is
folded: into a file or another program lines go whole.
"""

import itertools
import re
import shutil
import textwrap
from collections.abc import Iterator, Sequence
from typing import TextIO

__all__ = ["fold", "to_terminal"]

_RULE = re.compile(r" *-+(  -+)*$")
_LEAST_COLUMN = 8  # characters, to which a table's widest columns shrink
_LEAST_WIDTH = 40  # characters: narrower nothing is folded


def to_terminal(words: str, stream: TextIO) -> str:
    """Folded where the stream is a terminal, else as it is."""
    return fold(words, shutil.get_terminal_size().columns) if stream.isatty() else words


def fold(words: str, width: int) -> str:
    """Lines no longer than `width` [characters], where words and columns allow it.

    Examples
    --------
    >>> print(fold("  do: look for a second witness: oil sample with particle count, a second sensor", 48))
      do: look for a second witness: oil sample with
        particle count, a second sensor
    >>> print(fold("line      why\\n--------  ------------------------------------------\\nmesh one  "
    ...            "it stands on a line of a shaft that is there", 40))
    line      why
    --------  ------------------------------
    mesh one  it stands on a line of a shaft
              that is there
    """
    if width < _LEAST_WIDTH:
        return words
    return "\n".join(_folded(words.split("\n"), width))


def _folded(lines: Sequence[str], width: int) -> Iterator[str]:
    at = 0
    while at < len(lines):
        if at + 1 < len(lines) and _RULE.match(lines[at + 1]) and lines[at].strip():
            columns = [(one.start(), one.end()) for one in re.finditer("-+", lines[at + 1])]
            end = at + 2
            while end < len(lines) and _is_row(lines[end], columns):
                end += 1
            yield from _table(lines[at:end], columns, width)
            at = end
        else:
            yield from _line(lines[at], width)
            at += 1


def _line(line: str, width: int) -> list[str]:
    if len(line) <= width:
        return [line]
    indent = " " * (len(line) - len(line.lstrip(" ")))
    return textwrap.wrap(
        line.strip(" "),
        width,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _is_row(line: str, columns: Sequence[tuple[int, int]]) -> bool:
    """Whether nothing stands between the columns."""
    between = [(end, start) for (_, end), (start, _) in itertools.pairwise(columns)]
    return bool(line.strip()) and all(not line[end:start].strip() for end, start in [(0, columns[0][0]), *between])


def _table(lines: Sequence[str], columns: Sequence[tuple[int, int]], width: int) -> Iterator[str]:
    indent = columns[0][0]
    cells = [[line[start:end].rstrip() for start, end in columns[:-1]] + [line[columns[-1][0] :]] for line in lines]
    del cells[1]
    widths = [max(len(row[column]) for row in cells) for column in range(len(columns))]
    room = width - indent - 2 * (len(columns) - 1)
    while sum(widths) > room and max(widths) > _LEAST_COLUMN:
        widths[widths.index(max(widths))] -= 1
    cells.insert(1, ["-" * wide for wide in widths])
    for row in cells:
        parts = [
            textwrap.wrap(cell, wide, break_on_hyphens=False, break_long_words=len(cell) > width) or [""]
            for cell, wide in zip(row, widths, strict=True)
        ]
        for number in range(max(map(len, parts))):
            told = [part[number] if number < len(part) else "" for part in parts]
            yield (" " * indent + "  ".join(cell.ljust(wide) for cell, wide in zip(told, widths, strict=True))).rstrip()
