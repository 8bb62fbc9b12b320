"""The sheet that every picture is drawn on, and how it becomes bytes.

The drawing library is loaded on first use, keeps its settings in one place for the whole process and its fonts are
not safe to share, so everything that touches it runs under one lock.
"""

from __future__ import annotations

import hashlib
import io
import threading
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from advisor.errors import QuestionError
from advisor.pictures.lettering import FAMILY, clean, drawable, stand_in, wrapped
from advisor.pictures.look import Look, look

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

__all__ = ["MOST_DOTS", "Sheet", "painted", "render", "spread_over", "title_lines"]

MOST_DOTS = 60_000_000
"""Dots of the largest PNG that is drawn; at four bytes each about 240 MB while it is drawn."""

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
SALT = "situation"
"""Makes the ids inside an SVG, else random, the same every time."""

_LOCK = threading.RLock()


class Sheet:
    """A page of ``width`` x ``height`` inches on which places are given in inches from its top left corner."""

    def __init__(self, figure: Figure, width: float, height: float, asked: Look) -> None:
        self.figure = figure
        self.width = width
        self.height = height
        self.look = asked
        self.colours = asked.colours

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Axes over that rectangle (inches), in the colours of the theme."""
        bottom = self.height - top - height
        box = (left / self.width, bottom / self.height, width / self.width, height / self.height)
        axes = self.figure.add_axes(box)
        axes.set_facecolor("none")
        for spine in axes.spines.values():
            spine.set_color(self.colours.line)
        axes.tick_params(colors=self.colours.faint, labelsize=8, length=3)
        return axes

    def page(self) -> Axes:
        """Axes over the whole page whose data are inches from the top left corner."""
        axes = self.axes(0, 0, self.width, self.height)
        axes.set_xlim(0, self.width)
        axes.set_ylim(self.height, 0)
        axes.set_axis_off()
        return axes

    def write(self, x: float, y: float, text: str, **style: Any) -> None:
        """Text at inches from the top left corner; left and top aligned unless ``ha`` and ``va`` say otherwise."""
        if text:
            settings = {"color": self.colours.ink, "ha": "left", "va": "top", "fontsize": 9, **style}
            self.figure.text(x / self.width, 1 - y / self.height, text, **settings)

    def heading(self, x: float, y: float, title: str, note: str = "") -> None:
        """The title, wrapped to the page on two lines at most, and a smaller line under it."""
        shown = title_lines(title, self.width - 2 * x)
        self.write(x, y, shown, fontsize=12, fontweight="bold")
        columns = int((self.width - 2 * x) * 15.5)
        below = y + 0.06 + 0.2 * (shown.count("\n") + 1)
        self.write(x, below, wrapped(note, columns, 2), fontsize=8, color=self.colours.faint)


def title_lines(title: str, width: float) -> str:
    """The title on at most two lines of ``width`` inches."""
    return wrapped(title, max(12, int(width * 9)), 2)


def painted(
    asked: Look, size: tuple[float, float], title: str, description: str, paint: Callable[[Sheet], None]
) -> bytes:
    """A picture of ``size`` (inches): ``paint`` draws it on a fresh sheet.

    Errors: ``QuestionError`` (question-impossible) for a PNG of more than ``MOST_DOTS`` dots.
    """
    width, height = size
    dots = width * height * (asked.dpi * asked.scale) ** 2
    if asked.form == "png" and dots > MOST_DOTS:
        raise QuestionError(
            "question-impossible", f"a picture of {dots / 1e6:.0f} million dots is too large",
            help="lower `dpi` or `scale`, ask for fewer rows and columns, or for svg", pointer="/dpi",
        )  # fmt: skip
    with _settings():
        from matplotlib.figure import Figure

        figure = Figure(figsize=size, facecolor=asked.colours.paper)
        paint(Sheet(figure, width, height, asked))
        return render(figure, asked.form, title=title, description=description, dpi=asked.dpi, scale=asked.scale)


def render(figure: Figure, form: str, *, title: str, description: str, dpi: float = 100, scale: float = 1.0) -> bytes:
    """The figure as a file: an SVG whose text is text, or a PNG; the same figure always gives the same bytes.

    ``title`` and ``description`` are what a screen reader says of an SVG. No text is read as a formula.
    Errors: ``QuestionError`` (value-invalid) for a form, dpi or scale that is none.
    """
    look(form, dpi=dpi, scale=scale)
    with _settings():
        if form == "png":
            return _png(figure, dpi * scale, title)
        return _finished(_svg(figure), scale, clean(title), clean(description))


@contextmanager
def _settings() -> Iterator[None]:
    """The lock, and the library's settings as pictures need them whatever the process has set."""
    with _LOCK:
        import matplotlib

        with matplotlib.rc_context(_WANTED):
            yield


_WANTED: dict[Any, Any] = {
    "font.family": [FAMILY], "font.size": 9.0, "text.parse_math": False, "text.usetex": False,
    "axes.unicode_minus": False, "axes.formatter.use_mathtext": False, "axes.grid": False,
    "hatch.linewidth": 0.7, "svg.fonttype": "none", "svg.hashsalt": SALT, "svg.image_inline": True,
    "path.effects": [], "path.sketch": None, "savefig.bbox": None, "savefig.facecolor": "auto",
    "savefig.transparent": False, "figure.autolayout": False, "figure.constrained_layout.use": False,
}  # fmt: skip


def _texts(figure: Figure) -> list[Text]:
    """Every text with letters in it, none of them a formula any more."""
    from matplotlib.text import Text

    texts = [artist for artist in figure.findobj(Text) if isinstance(artist, Text)]
    for text in texts:
        text.set_parse_math(False)
        text.set_usetex(False)
        text.set_text("\n".join(clean(line) for line in text.get_text().split("\n")))
    return [text for text in texts if text.get_text()]


@contextmanager
def _relettered(texts: Sequence[Text]) -> Iterator[None]:
    """Give the texts back what they said before, so that a figure may be rendered again in another form."""
    before = [(text, text.get_text(), text.get_fontfamily(), text.get_gid()) for text in texts]
    try:
        yield
    finally:
        for text, said, family, gid in before:
            text.set_text(said)
            text.set_fontfamily(family)
            text.set_gid(gid)


def _png(figure: Figure, dpi: float, title: str) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    out = io.BytesIO()
    texts = _texts(figure)
    with _relettered(texts):
        for text in texts:
            shown, families = drawable(text.get_text())
            text.set_text(shown)
            text.set_fontfamily(list(families))
        FigureCanvasAgg(figure).print_figure(
            out, format="png", dpi=dpi, metadata={"Software": None, "Title": _latin(title)}
        )
    return out.getvalue()


def _latin(text: str) -> str:
    """Text as a PNG's own title may hold it: Latin-1 letters only."""
    return clean(text).encode("latin-1", "replace").decode("latin-1")


def _svg(figure: Figure) -> ET.Element:
    """The drawing; what the font cannot lay out is laid out as a stand-in and put back into the finished tree."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    kept: dict[str, list[str]] = {}
    out = io.BytesIO()
    texts = _texts(figure)
    with _relettered(texts):
        for number, text in enumerate(texts):
            whole, drawn = text.get_text(), stand_in(text.get_text())
            if drawn != whole:
                kept[f"letters_{number}"] = whole.split("\n")
                text.set_gid(f"letters_{number}")
                text.set_text(drawn)
        none = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        FigureCanvasSVG(figure).print_figure(out, format="svg", metadata=none)
    root = ET.fromstring(out.getvalue())  # our own output, no stranger's document
    for group in root.iter(f"{{{SVG}}}g"):
        lines = kept.get(group.get("id", ""), [])
        if lines:
            del group.attrib["id"]
        for element, line in zip(group.iter(f"{{{SVG}}}text"), lines, strict=False):
            element.text = line
    return root


def _finished(root: ET.Element, scale: float, title: str, description: str) -> bytes:
    """The tree as bytes, with what a screen reader needs, and nothing that leaks into a page it is put in."""
    for child in [c for c in root if c.tag == f"{{{SVG}}}metadata"]:
        root.remove(child)
    for defs in [c for c in root if c.tag == f"{{{SVG}}}defs"]:
        if any(c.tag == f"{{{SVG}}}style" for c in defs):
            root.remove(defs)
    root.set("style", "stroke-linejoin: round; stroke-linecap: butt")
    for side in ("width", "height"):
        root.set(side, f"{float(root.get(side, '0pt').removesuffix('pt')) * scale:g}pt")
    for element in root.iter():
        style = element.get("style", "")
        if f"'{FAMILY}'" in style:
            element.set("style", style.replace(f"'{FAMILY}'", f"'{FAMILY}', Verdana, sans-serif"))
    _name(root, title, description)
    ET.register_namespace("", SVG)
    ET.register_namespace("xlink", XLINK)
    written: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return written


def _name(root: ET.Element, title: str, description: str) -> None:
    mark = hashlib.sha256(f"{title}\n{description}".encode()).hexdigest()[:10]
    root.set("role", "img")
    root.set("aria-labelledby", f"title-{mark} desc-{mark}")
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        element = ET.Element(f"{{{SVG}}}{tag}", {"id": f"{tag}-{mark}"})
        element.text = text
        root.insert(place, element)


def spread_over(items: Sequence[float], room: float) -> list[list[int]]:
    """Indices of items of those widths, put on lines of ``room`` inches in order."""
    lines: list[list[int]] = [[]]
    used = 0.0
    for i, width in enumerate(items):
        if lines[-1] and used + width > room:
            lines.append([])
            used = 0.0
        lines[-1].append(i)
        used += width
    return lines
