"""SVG pictures in a page, made into images: as an image a picture can run nothing, fetch nothing and open nothing.

Browsers show an SVG file in an ``img`` in its secure static mode (W3C, SVG Integration, "secure static mode"). A picture
that is no well-formed XML, declares entities, or is too large, is left out.
"""

from __future__ import annotations

import base64
import re
import secrets
from html import escape
from xml.etree import ElementTree

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring

__all__ = ["put_back", "taken_out"]

_SVG = "http://www.w3.org/2000/svg"
_LARGEST, _MOST, _LONGEST_WORDS = 200_000, 20, 2_000
_EDGE = re.compile(r"<(/?)svg\b[^>]*?(/?)>", re.I)
ElementTree.register_namespace("", _SVG)


def taken_out(html):
    """Return ``(html without its pictures, {mark in their place: image})``; `put_back` puts the images there."""
    images, rest, at = {}, [], 0
    for begin, end in _pictures(html):
        image = _image(html[begin:end]) if len(images) < _MOST else ""
        mark = f"picture-{secrets.token_hex(16)}"  # nobody can write it beforehand
        images[mark] = image
        rest += [html[at:begin], mark]
        at = end
    return "".join([*rest, html[at:]]), images


def put_back(html, images):
    """Return the cleaned ``html`` with its ``images`` where `taken_out` left their marks."""
    for mark, image in images.items():
        html = html.replace(mark, image)
    return html


def _pictures(html):
    """``(begin, end)`` of each outermost svg element."""
    depth, begin = 0, 0
    for edge in _EDGE.finditer(html):
        if edge[2]:  # an empty one
            continue
        if not edge[1]:
            begin = begin if depth else edge.start()
            depth += 1
        elif depth:
            depth -= 1
            if depth == 0:
                yield begin, edge.end()


def _image(svg):
    if len(svg) > _LARGEST:
        return ""
    if "xmlns" not in svg.partition(">")[0]:
        svg = svg.replace("<svg", f'<svg xmlns="{_SVG}"', 1)
    try:
        root = fromstring(svg)
    except (ElementTree.ParseError, DefusedXmlException, RecursionError, ValueError):
        return ""
    if root.tag != f"{{{_SVG}}}svg":
        return ""
    title = root.find(f"{{{_SVG}}}title")
    words = root.get("aria-label") or (title.text if title is not None else "") or "A picture."
    data = base64.b64encode(ElementTree.tostring(root)).decode()
    return f'<img alt="{escape(words[:_LONGEST_WORDS])}" style="max-width:100%" src="data:image/svg+xml;base64,{data}">'
