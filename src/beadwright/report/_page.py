"""A sheet of paper for a drawing in mm: frame, title, scale bar, captions, all as SVG text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

PAPER, INK, FAINT = "#fbfaf6", "#22292e", "#8b9296"
FONT = "Georgia, 'Liberation Serif', 'DejaVu Serif', serif"
LETTER = 0.52
"""Mean width of a letter of that face, as a share of its size."""
LEAST_LETTERS = 64
"""Letters of a caption that fit across the narrowest sheet."""


def number(value: float) -> str:
    """A number to 1e-9 mm, shortest form."""
    text = repr(round(float(value), 9) + 0.0)
    return text.removesuffix(".0")


def brief(value: float) -> str:
    """A number for the reader: four significant digits, a thin space between thousands."""
    if value == 0:
        return "0"
    digits = max(0, 3 - len(str(int(abs(value)))) + 1)
    text = f"{value:,.{digits}f}".replace(",", "\N{THIN SPACE}")
    return text.rstrip("0").rstrip(".") if "." in text else text


def round_length(span: float) -> float:
    """Greatest of 1, 2, 5 times a power of ten that is at most `span`."""
    power = 1.0
    while power * 10 <= span:
        power *= 10
    while power > span:
        power /= 10
    return max(f * power for f in (1, 2, 5) if f * power <= span)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Where things stand on the sheet, mm; y runs down, as in SVG.

    Attributes
    ----------
    x, y, width, height : float
        The drawing's own box.
    size : float
        Height of a letter; all lines and gaps follow from it.
    captions : int
        Lines of text below the scale bar.
    """

    x: float
    y: float
    width: float
    height: float
    size: float
    captions: int = 1

    @classmethod
    def around(cls, box: tuple[float, float, float, float], captions: int = 1) -> Page:
        """Sheet for a box ``(least x, least y, greatest x, greatest y)`` with y upwards, mm."""
        x0, y0, x1, y1 = box
        width, height = max(x1 - x0, 1e-6), max(y1 - y0, 1e-6)
        return cls(
            x=x0, y=-y1, width=width, height=height, size=0.020 * max(width, height), captions=captions
        )

    @property
    def left(self) -> float:
        """Left edge of the text."""
        return self.x + 0.5 * (self.width - self.text_width)

    @property
    def text_width(self) -> float:
        """Width of the column that text may use."""
        return max(self.width, LEAST_LETTERS * LETTER * self.size)

    @property
    def view(self) -> tuple[float, float, float, float]:
        """viewBox: x, y, width, height."""
        margin, top = 2.2 * self.size, 4.2 * self.size
        bottom = (4.6 + 1.7 * self.captions) * self.size
        return (
            self.left - margin,
            self.y - top,
            self.text_width + 2 * margin,
            self.height + top + bottom,
        )

    def head(self, title: str, description: str) -> list[str]:
        """First lines: real size in mm, shrunk by a browser to its window."""
        x, y, w, h = self.view
        size = " ".join(number(v) for v in (x, y, w, h))
        return [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(w)}mm" height="{number(h)}mm"'
            f' viewBox="{size}" style="max-width:100%;max-height:100vh;background:{PAPER}">',
            f"<title>{escape(title)}</title>",
            f"<desc>{escape(description)}</desc>",
            f'<rect x="{number(x)}" y="{number(y)}" width="{number(w)}" height="{number(h)}"'
            f' fill="{PAPER}"/>',
            self.text(self.left, self.y - 1.9 * self.size, title, scale=1.35),
        ]

    def text(self, x: float, y: float, words: str, *, scale: float = 1.0) -> str:
        """One line of text, its baseline at y."""
        return (
            f'<text x="{number(x)}" y="{number(y)}" font-family="{FONT}"'
            f' font-size="{number(scale * self.size)}" fill="{INK}">'
            f"{escape(words)}</text>"
        )

    def row(self, index: int) -> float:
        """Baseline of a line of text below the scale bar, from 0."""
        return self.y + self.height + (4.9 + 1.7 * index) * self.size

    def foot(self, captions: Sequence[str]) -> list[str]:
        """Scale bar with its length, and captions below it."""
        s = self.size
        bar = round_length(0.3 * self.text_width)
        y = self.y + self.height + 2.6 * s
        x = self.left
        ticks = "".join(
            f"M{number(x + f * bar)} {number(y - 0.35 * s)}v{number(0.7 * s)}" for f in (0, 0.5, 1)
        )
        lines = [
            f'<path d="M{number(x)} {number(y)}h{number(bar)}{ticks}" fill="none" stroke="{INK}"'
            f' stroke-width="{number(0.09 * s)}"/>',
            self.text(x + bar + 0.8 * s, y + 0.35 * s, f"{brief(bar)} mm"),
        ]
        return lines + [self.text(x, self.row(i), words) for i, words in enumerate(captions)]
