"""A sheet on paper: one PDF, A4, real text, in black on white.

The libraries are those of the extra ``plan`` (see ``pyproject.toml``) and are loaded when a sheet
is made. The typeface comes with the PDF library and is embedded; a letter that it has not is
printed without its mark ("e" for "ę"). The library writes no tags for programs that read aloud:
the PDF has a title, a language and its words in the order in which they are read.
"""

import io
import unicodedata
from collections.abc import Callable, Iterator
from html import escape
from itertools import groupby
from typing import Any

from bot.report.sheet.content import Sheet

MM = 72 / 25.4
#: Length of the QR code's side in mm without its quiet zone, and that zone in modules
#: (ISO/IEC 18004: four, from memory).
QR_SIDE, QUIET = 28.0, 4
_MARGIN, _FOOT = 15 * MM, 8 * MM
_FONT, _BOLD = "SheetText", "SheetBold"
#: Sizes of type in points: the largest is taken with which all lies on two sides.
_SIZES = (9.4, 8.6, 7.8)
_SIDES = 2


class NotInstalled(Exception):
    """What printing needs is not there; the sentence says how to get it."""


def _libraries() -> tuple[Any, Any]:
    try:
        import reportlab.rl_config as config
        import segno
    except ImportError:
        raise NotInstalled(
            "Printing sheets needs two more libraries: run `sh deploy/setup plan` in the checkout, "
            "or install musterline with its extra: pip install 'musterline[plan]'."
        ) from None
    return config, segno


def pdf(sheet: Sheet) -> bytes:
    """The sheet as a PDF, the same bytes for the same words. Raises ``NotInstalled``."""
    _libraries()
    _fonts()
    content = b""
    for size in _SIZES:
        content, sides = _built(sheet, size)
        if sides <= _SIDES:
            break
    return content


def _built(sheet: Sheet, size: float) -> tuple[bytes, int]:
    """The PDF with type of that size, and how many sides it has."""
    from reportlab.lib.pagesizes import A4
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    out = io.BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=A4,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + _FOOT,
        title=_plain(sheet.title),
        subject=_plain(sheet.facts[0][1]),
        author="",
        creator="musterline",
        lang=sheet.lang,
        invariant=1,
    )
    place = (document.leftMargin, document.bottomMargin, document.width, document.height)
    document.addPageTemplates(PageTemplate(frames=[Frame(*place, 0, 0, 0, 0)]))
    document.build(_story(sheet, document.width, size), canvasmaker=_with_foot(sheet))
    return out.getvalue(), int(document.page)


def _with_foot(sheet: Sheet) -> Any:
    """A canvas that writes the foot of each page last, when it is known how many there are."""
    from reportlab.pdfgen.canvas import Canvas

    class Footed(Canvas):  # type: ignore[misc]
        def __init__(self, *args: Any, **named: Any) -> None:
            super().__init__(*args, **named)
            self._done: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - the library's name
            self._done.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._done, 1):
                self.__dict__.update(page)
                shown = sheet.page.format(page=number, pages=len(self._done))
                self.setFont(_FONT, 7.5)
                self.drawString(_MARGIN, _MARGIN, _printable(sheet.title))
                self.drawRightString(self._pagesize[0] - _MARGIN, _MARGIN, shown)
                super().showPage()
            super().save()

    return Footed


def _story(sheet: Sheet, width: float, size: float) -> list[Any]:
    from reportlab.platypus import KeepTogether, Spacer

    style = _styles(size)
    gap = Spacer(0, 2.2 * MM)
    story: list[Any] = [_para(f"*{sheet.title}*", style["title"]), gap]
    story += [_boxed(_para(f"*{sheet.danger}*", style["danger"]), width), gap]
    story += [_head(sheet, width, style), gap]
    if sheet.cautions:
        story += [_heading(sheet, "cautions", style)]
        story += [_two_columns([f"• {one}" for one in sheet.cautions], width, style), gap]
    story += [_heading(sheet, "steps", style)]
    story += [_para(one, style["text"]) for one in sheet.with_us]
    story += [_numbered(sheet, width, style), gap]
    lights = [_heading(sheet, "lights", style), _lights(sheet, width, style)]
    story += [KeepTogether([*lights, _para(sheet.blink, style["text"]), gap])]
    ends = [_heading(sheet, "parts", style)]
    ends += [_two_columns([f"• {one}" for one in sheet.parts], width, style), gap]
    if sheet.keep:
        ends += [_heading(sheet, "keep", style), _para(" ".join(sheet.keep), style["text"])]
    return [*story, KeepTogether(ends)]


# --- parts of it -------------------------------------------------------------------------


def _heading(sheet: Sheet, key: str, style: Any) -> Any:
    return _para(f"*{sheet.headings[key]}*", style["heading"])


def _head(sheet: Sheet, width: float, style: Any) -> Any:
    """Who, when, where and which box; beside it the code, and how to open the page."""
    narrow = (QR_SIDE + 14) * MM if sheet.link else 0
    left = width - narrow - (4 * MM if narrow else 0)
    names = 34 * MM
    rows = [[_para(a, style["name"]), _para(b, style["text"])] for a, b in sheet.facts]
    facts: list[Any] = [_table(rows, [names, left - names])]
    if sheet.proof:
        facts.append(_para(sheet.proof, style["aside"]))
    if not sheet.link:
        return _table([[[*facts, _para(sheet.beside_link, style["text"])]]], [width])
    beside = [_qr(sheet.link), _para(sheet.beside_link, style["small"])]
    beside.append(_para(sheet.link, style["link"]))
    return _table([[facts, beside]], [width - narrow, narrow])


def _qr(link: str) -> Any:
    """The code, drawn: error correction M (15 %; ISO/IEC 18004, from memory) or better."""
    from reportlab.graphics.shapes import Drawing, Rect
    from reportlab.lib import colors

    _, segno = _libraries()
    code = segno.make(link, error="m", micro=False)
    matrix = [list(row) for row in code.matrix]
    module = QR_SIDE * MM / len(matrix)
    whole = module * (len(matrix) + 2 * QUIET)
    drawing = Drawing(whole, whole)
    for y, row in enumerate(matrix):
        for begins, length in _dark(row):
            left, low = (begins + QUIET) * module, whole - (y + QUIET + 1) * module
            bar = Rect(left, low, length * module, module, strokeWidth=0, strokeColor=None)
            bar.fillColor = colors.black
            drawing.add(bar)
    return drawing


def _dark(row: list[int]) -> Iterator[tuple[int, int]]:
    """Where dark modules begin in a row, and how many follow one another."""
    at = 0
    for dark, run in groupby(row):
        length = len(list(run))
        if dark:
            yield at, length
        at += length


def _numbered(sheet: Sheet, width: float, style: Any) -> Any:
    rows = []
    for number, step in enumerate(sheet.steps, 1):
        title = f"*{step.title}.* " if step.title else ""
        rows.append([_para(f"*{number}*", style["text"]), _para(title + step.text, style["text"])])
    return _table(rows, [8 * MM, width - 8 * MM])


def _lights(sheet: Sheet, width: float, style: Any) -> Any:
    rows = [[_para(sheet.headings[key], style["name"]) for key in ("seen", "means")]]
    rows += [[_para(a, style["text"]), _para(b, style["text"])] for a, b in sheet.lights]
    return _table(rows, [52 * MM, width - 52 * MM], lines=True)


def _two_columns(words: list[str], width: float, style: Any) -> Any:
    half = (len(words) + 1) // 2
    columns = [words[:half], words[half:]]
    cells = [[_para(one, style["bullet"]) for one in column] for column in columns]
    return _table([cells], [width / 2, width / 2])


def _boxed(what: Any, width: float) -> Any:
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    rules = [("BOX", (0, 0), (-1, -1), 1.6, colors.black)]
    pads = [(f"{side}PADDING", (0, 0), (-1, -1), 6) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
    return Table([[what]], colWidths=[width], style=TableStyle([*rules, *pads]))


def _table(rows: list[list[Any]], widths: list[float], *, lines: bool = False) -> Any:
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    rules: list[Any] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 2 if lines else 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
    ]
    if lines:
        rules.append(("GRID", (0, 0), (-1, -1), 0.5, colors.black))
    return Table(rows, colWidths=widths, style=TableStyle(rules))


# --- words -------------------------------------------------------------------------------


def _para(text: str, style: Any) -> Any:
    from reportlab.platypus import Paragraph

    return Paragraph(_marked_up(text), style)


def _marked_up(text: str) -> str:
    """Escaped, with ``*words*`` in bold."""
    parts = escape(_printable(text), quote=False).split("*")
    if len(parts) % 2 == 0:
        return "*".join(parts)
    return "".join(f"<b>{part}</b>" if i % 2 else part for i, part in enumerate(parts))


def _plain(text: str) -> str:
    return text.replace("*", "")


def _printable(text: str) -> str:
    """The text in letters that the typeface has."""
    return "".join(one if _has(one) else _near(one) for one in text)


#: Letters that are no plain letter with a mark, in the alphabets of our languages' neighbours.
_NEAR = str.maketrans("ĐđĦħŁłŦŧŊŋ\u2010\u2011–—", "DdHhLlTtNn----")


def _near(letter: str) -> str:
    plain = unicodedata.normalize("NFKD", letter.translate(_NEAR))
    return "".join(one for one in plain if _has(one)) or "?"


def _has(letter: str) -> bool:
    from reportlab.pdfbase import pdfmetrics

    return ord(letter) in pdfmetrics.getFont(_FONT).face.charToGlyph


def _fonts() -> None:
    """The typeface that comes with the PDF library, in plain and bold."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if _FONT in pdfmetrics.getRegisteredFontNames():
        return
    pdfmetrics.registerFont(TTFont(_FONT, "Vera.ttf"))
    pdfmetrics.registerFont(TTFont(_BOLD, "VeraBd.ttf"))
    pdfmetrics.registerFontFamily(_FONT, normal=_FONT, bold=_BOLD, italic=_FONT, boldItalic=_BOLD)


def _styles(usual: float) -> dict[str, Any]:
    from reportlab.lib.styles import ParagraphStyle

    def style(name: str, size: float = usual, **more: Any) -> Any:
        lead = size * 1.28
        return ParagraphStyle(name, fontName=_FONT, fontSize=size, leading=lead, **more)

    make: Callable[..., Any] = style
    return {
        "title": make("title", 17, spaceAfter=2),
        "danger": make("danger", 11),
        "heading": make("heading", 11.5, spaceBefore=2, spaceAfter=2),
        "text": make("text"),
        "aside": make("aside", rightIndent=10, spaceBefore=3),
        "name": make("name", textColor="#333333"),
        "small": make("small", 8),
        "link": make("link", 6.2, splitLongWords=1, wordWrap="CJK"),
        "bullet": make("bullet", leftIndent=7, firstLineIndent=-7),
    }
