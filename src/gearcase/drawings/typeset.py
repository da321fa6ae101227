"""Typst, with the shipped fonts and nothing of the machine's own: documents as PDF or PNG, and a drawing as PNG."""

import tempfile
from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path
from typing import Literal

import typst

from gearcase.drawings.svg import Sheet

__all__ = ["HOME", "sheet_png", "typeset"]

HOME = files("gearcase.drawings")
_PX_PER_INCH = 96.0  # of SVG


def typeset(
    source: str, beside: Mapping[str, str], form: Literal["pdf", "png"], dots_per_inch: float | None
) -> bytes | list[bytes]:
    """A typst document that reads the files `beside` it; one page gives bytes, several of PNG a list."""
    with tempfile.TemporaryDirectory() as folder, as_file(HOME / "fonts") as fonts:
        for name, content in {**beside, "main.typ": source}.items():
            (Path(folder) / name).write_text(content, encoding="utf-8")
        made: bytes | list[bytes] = typst.compile(
            str(Path(folder) / "main.typ"),
            root=folder,
            font_paths=[str(path) for path in sorted(fonts.iterdir()) if path.is_dir()],
            ignore_system_fonts=True,
            format=form,
            ppi=dots_per_inch,
        )
    return made


def sheet_png(sheet: Sheet, title: str, *, times: float = 2.0) -> bytes:
    """A drawing on paper as PNG, so many times its own size in pixels."""
    size = f"width: {sheet.width * 72 / _PX_PER_INCH}pt, height: {sheet.height * 72 / _PX_PER_INCH}pt"
    source = f'#set page({size}, margin: 0pt, fill: rgb("#FBFAF6"))\n#image("drawing.svg", width: 100%, height: 100%)'
    made = typeset(source, {"drawing.svg": sheet.svg(title)}, "png", times * _PX_PER_INCH)
    assert isinstance(made, bytes)
    return made
