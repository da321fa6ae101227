"""The look of every drawing, and the few shapes they are made of.

A shop drawing: light paper, ink lines of ISO 128 widths, one accent. State colours are for states only and never stand alone.
"""

from dataclasses import dataclass, field
from html import escape

__all__ = [
    "ABNORMAL",
    "ACCENT",
    "DANGER",
    "FONT",
    "HAIRLINE",
    "INK",
    "MONO",
    "MUTED",
    "PAPER",
    "Box",
    "Sheet",
    "text_width",
    "wrap",
]

PAPER, INK, HAIRLINE, ACCENT, MUTED = "#FBFAF6", "#1E2328", "#C9C6BD", "#8A5A2B", "#6B6A63"
ABNORMAL, DANGER = "#C79A00", "#B3261E"  # where a state begins, and nothing else; the line is dashed or solid and has its word
FONT, MONO = "Inter", "Inconsolata"
WIDE, NARROW = 1.4, 0.7  # ISO 128: wide lines twice the narrow ones, in px at 96 dpi
# Advances of the sans over its size by class of letter, each rounded up, so that labels placed with them have room enough.
_ADVANCE = {
    letter: advance
    for letters, advance in (
        ("ijlI!',.:;· ", 0.32),
        ("ftr()/[]\\|`", 0.42),
        ('1-_"^{}°²³“”', 0.5),
        ("abcdeghknopqsuvxyz?*–", 0.62),
        ("0123456789+<=>~×±#$&", 0.68),
        ("wmM…", 0.93),
    )
    for letter in letters
}
_CAPITAL, _WIDEST, _HEAVY = 0.78, 1.05, 1.05


def text_width(text: str, size: float, weight: int = 400) -> float:
    """Room a label takes, rather too much than too little. [px]"""
    ems = sum(_ADVANCE.get(letter) or (_CAPITAL if letter.isascii() and letter not in "W%@" else _WIDEST) for letter in text)
    return ems * size * (_HEAVY if weight > 400 else 1.0)


def wrap(text: str, width: float, size: float, most: int = 3, weight: int = 400) -> list[str]:
    """A label broken into lines that fit a width, at words, the last one cut short if need be."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size, weight) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [_cut(line, width, size, weight) for line in lines]


@dataclass(frozen=True)
class Box:
    """Where a label stands, for checking that none lie on each other. [px]"""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Box") -> bool:
        """Whether the two share room."""
        return self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom


@dataclass
class Sheet:
    """A drawing in the making: shapes as SVG text, the boxes of its labels, and both ends of each leader, x and y. [px]"""

    width: float
    height: float
    parts: list[str] = field(default_factory=list)
    labels: list[Box] = field(default_factory=list)
    leaders: list[tuple[float, float, float, float]] = field(default_factory=list)

    def line(self, x1: float, y1: float, x2: float, y2: float, *, colour: str = INK, width: float = NARROW, dash: str = "") -> None:
        """A straight line."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="{width}"{dashed}/>'
        )

    def rectangle(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: str = PAPER,
        colour: str = INK,
        line: float = WIDE,
        dash: str = "",
    ) -> None:
        """A rectangle by its upper left corner."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{fill}" stroke="{colour}" '
            f'stroke-width="{line}"{dashed}/>'
        )

    def shade(self, x: float, y: float, width: float, height: float, *, colour: str, opacity: float) -> None:
        """A tint over a region, which leaves what lies under it to be read."""
        self.parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{colour}" fill-opacity="{opacity}"/>'
        )

    def path(self, data: str, *, colour: str = INK, width: float = NARROW, fill: str = "none", dash: str = "") -> None:
        """A path by its commands."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<path d="{data}" fill="{fill}" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round"{dashed}/>'
        )

    def circle(
        self, x: float, y: float, r: float, *, colour: str = INK, width: float = WIDE, fill: str = "none", dash: str = ""
    ) -> None:
        """A circle by its centre."""
        arcs = f"M{x - r:.1f} {y:.1f}a{r:.1f} {r:.1f} 0 1 0 {2 * r:.1f} 0a{r:.1f} {r:.1f} 0 1 0 {-2 * r:.1f} 0z"
        self.path(arcs, colour=colour, width=width, fill=fill, dash=dash)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 11,
        anchor: str = "start",
        colour: str = INK,
        weight: int = 400,
        turned: bool = False,
    ) -> None:
        """A label on its base line; `anchor` is start, middle or end; `turned` reads upwards."""
        wide = text_width(text, size, weight)
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        if turned:
            lower = y + {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
            self.labels.append(Box(x - size * 0.8, lower - wide, x + size * 0.2, lower))
        else:
            self.labels.append(Box(left, y - size * 0.8, left + wide, y + size * 0.2))
        around = f' transform="rotate(-90 {x:.1f} {y:.1f})"' if turned else ""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-family="{FONT}, sans-serif" font-size="{size}" font-weight="{weight}" '
            f'text-anchor="{anchor}" fill="{colour}"{around}>{escape(_printable(text))}</text>'
        )

    def svg(self, title: str) -> str:
        """The drawing as one SVG document with its title for readers that cannot see."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:.0f} {self.height:.0f}" '
            f'width="{self.width:.0f}" height="{self.height:.0f}" class="{_room(self.width)}" role="img">'
        )
        return "\n".join([head, f"<title>{escape(_printable(title))}</title>", *self.parts, "</svg>"])


def _room(width: float) -> str:
    """How much room a page gives a drawing, so that the letters of all are of a size: a class for the style sheets."""
    return "narrow" if width <= 620 else "middle" if width <= 900 else "whole"


def _cut(text: str, width: float, size: float, weight: int) -> str:
    if text_width(text, size, weight) <= width:
        return text
    while text and text_width(f"{text}…", size, weight) > width:
        text = text[:-1]
    return f"{text}…"


def _printable(text: str) -> str:
    """XML knows no control characters."""
    return "".join(letter if letter.isprintable() else " " for letter in text)
