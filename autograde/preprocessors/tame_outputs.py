"""What a stranger's code put on the screen, made harmless and small before the instructor's browser shows it."""

from __future__ import annotations

import functools
import re

import bleach
from nbformat import NotebookNode
from nbgrader.preprocessors import NbGraderPreprocessor
from traitlets import Integer

from autograde.preprocessors.still_pictures import put_back, taken_out

__all__ = ["TameOutputs", "tamed", "verbatim"]

_TAGS = frozenset(
    [
        "b",
        "br",
        "caption",
        "code",
        "dd",
        "details",
        "div",
        "dl",
        "dt",
        "em",
        "h1",
        "h2",
        "h3",
        "h4",
        "h5",
        "h6",
        "hr",
        "i",
        "kbd",
        "li",
        "ol",
        "p",
        "pre",
        "small",
        "span",
        "strong",
        "sub",
        "summary",
        "sup",
        "table",
        "tbody",
        "td",
        "tfoot",
        "th",
        "thead",
        "tr",
        "u",
        "ul",
    ]
)
_ATTRIBUTES = {"td": ["colspan", "rowspan"], "th": ["colspan", "rowspan", "scope"], "details": ["open"]}
_WITH_CONTENT = re.compile(r"<(script|style|svg|iframe|object|template|math)\b.*?(</\1\s*>|\Z)", re.I | re.S)
_LONGEST_PAGE = 1_000_000
_PICTURES = {"image/png": "iVBORw0KGgo", "image/jpeg": "/9j/"}
_IMAGE = re.compile(r"<img [^>]*>")
_BASE64 = re.compile(r"[A-Za-z0-9+/=\s]+")
_TYPES = ("stream", "error", "display_data", "execute_result")


class TameOutputs(NbGraderPreprocessor):
    """Keep plain text, cleaned HTML tables and pictures of a bounded size from every output, SVG as images; drop everything else."""

    most_outputs = Integer(40, help="Outputs kept for one cell.").tag(config=True)
    most_text = Integer(50_000, help="Characters of text kept for one cell.").tag(config=True)
    most_picture = Integer(1_500_000, help="Characters of base64 kept for one picture.").tag(config=True)

    def preprocess(self, nb, resources):
        """Return the notebook with every output tamed, and no widget state."""
        nb.metadata.pop("widgets", None)
        for cell in nb.cells:
            if cell.cell_type == "code":
                cell.outputs = tamed(cell.outputs, self.most_outputs, self.most_text, self.most_picture)
        return nb, resources


def tamed(outputs, most_outputs=40, most_text=50_000, most_picture=1_500_000):
    """Return the outputs of one cell with nothing in them that could act in a browser, and no more than the bounds."""
    kept, left = [], most_text
    for output in outputs[:most_outputs]:
        output = (
            _TAMERS[output["output_type"]](output, left, most_picture) if output.get("output_type") in _TYPES else None
        )
        if output is not None:
            kept.append(output)
            left -= _text_of(output)
        if left <= 0:
            break
    if left <= 0 or len(outputs) > most_outputs:
        kept.append(_made("stream", name="stdout", text="[The further output of this cell was left out.]\n"))
    return kept


def verbatim(text):
    r"""Return Markdown that shows ``text`` letter for letter: no markup, link or formula in it is acted upon.

    >>> verbatim("<b> 3*4 \\href")
    '&#60;b&#62; 3&#42;4 &#92;&#8288;href'
    """
    return "".join(letter if letter.isalnum() or letter.isspace() else _sign(letter) for letter in text)


def _sign(letter):
    if not letter.isprintable():
        return ""
    return f"&#{ord(letter)};" + ("&#8288;" if letter == "\\" else "")


def _made(kind, **parts):
    """As nbformat's ``new_output``, without its look at what has just been made of plain text."""
    return NotebookNode(output_type=kind, **parts)


def _stream(output, left, _):
    name = "stderr" if output.get("name") == "stderr" else "stdout"
    return _made("stream", name=name, text=_as_text(output.get("text"))[:left])


def _error(output, left, _):
    lines = output.get("traceback")
    lines = [_as_text(line) for line in lines[-100:]] if isinstance(lines, list) else []
    while sum(map(len, lines)) > left:
        lines.pop(0)
    name, value = (_as_text(output.get(key))[:500] for key in ("ename", "evalue"))
    return _made("error", ename=name, evalue=value, traceback=lines)


def _display(output, left, most_picture):
    data, found = output.get("data"), {}
    data = data if isinstance(data, dict) else {}
    if "text/plain" in data:
        found["text/plain"] = _as_text(data["text/plain"])[:left]
    if "text/html" in data:
        found["text/html"] = _page(_as_text(data["text/html"])[:_LONGEST_PAGE], left)
    elif drawn := _page(_as_text(data.get("image/svg+xml", ""))[:_LONGEST_PAGE], left):
        found["text/html"] = drawn
    for kind, beginning in _PICTURES.items():
        picture = _as_text(data.get(kind, ""))
        if len(picture) <= most_picture and picture.startswith(beginning) and _BASE64.fullmatch(picture):
            found[kind] = picture
    return _made("display_data", metadata=NotebookNode(), data=NotebookNode(found)) if found else None


_TAMERS = {"stream": _stream, "error": _error, "display_data": _display, "execute_result": _display}


def _page(html, left):
    return _clean(html, left if len(html) > left else _LONGEST_PAGE)


@functools.lru_cache(maxsize=256)
def _clean(html, left):
    """Most of a lesson's pages are the same for everybody, so they are cleaned once. The word joiner keeps a formula's
    commands, which can carry links, from being acted upon.
    """
    html, images = taken_out(html)
    try:
        html = bleach.clean(_WITH_CONTENT.sub("", html[:left]), tags=_TAGS, attributes=_harmless, strip=True)
    except (RecursionError, ValueError):
        return ""
    return put_back(html.replace("\\", "\\\u2060"), images)


def _harmless(tag, name, value):
    """Only plain words and numbers stand in an attribute: never the mark of a picture, whose image would end it."""
    return name in _ATTRIBUTES.get(tag, ()) and (value.isalnum() or not value)


def _as_text(value):
    if isinstance(value, list):
        return "".join(part for part in value if isinstance(part, str))
    return value if isinstance(value, str) else ""


def _text_of(output):
    if output.output_type == "stream":
        return len(output.text)
    if output.output_type == "error":
        return sum(map(len, output.traceback))
    plain = output.data.get("text/plain", "")
    return len(plain) + len(_IMAGE.sub("", output.data.get("text/html", "")))
