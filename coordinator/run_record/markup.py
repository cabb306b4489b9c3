"""HTML that is XML too, as little as people need on paper. Every text in it is escaped here."""

import base64
import hashlib
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Final, NewType
from xml.sax.saxutils import escape

from coordinator.run_record.style import STYLE

Html = NewType("Html", str)
"""Markup: made by these functions only."""

NOT_KNOWN: Final = "not known"
_POLICY: Final = "default-src 'none'; style-src 'sha256-{}'"
_QUOTES: Final = {'"': "&quot;", "'": "&#39;"}


def document(title: str, body: Iterable[Html]) -> str:
    """A file's text: no script, and nothing that it loads."""
    style = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    return (
        '<!DOCTYPE html>\n<html lang="en" xmlns="http://www.w3.org/1999/xhtml"><head>'
        '<meta charset="utf-8"/>'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY.format(style)}"/>'
        '<meta name="viewport" content="width=device-width"/>'
        f"<title>{text(title)}</title><style>{STYLE}</style></head>"
        f"<body><main>{''.join(body)}</main></body></html>\n"
    )


def text(words: object) -> Html:
    """Words as they are read, whatever they are; what cannot be seen is shown by its number.

    Control characters are not allowed in XML, and those that turn the direction of writing show a
    program in another order than that in which it is played.
    """
    return Html(escape("".join(map(_seen, str(words))), _QUOTES))


def _seen(one: str) -> str:
    if one.isprintable() or one == "\t":
        return one
    # A space of another width or a joiner within a script is no trick.
    if unicodedata.category(one) == "Zs" or one in "\u200c\u200d":
        return one
    return f"\u27e8U+{ord(one):04X}\u27e9"


def element(tag: str, *inside: Html, kind: str = "") -> Html:
    """An element around markup; `kind` is its class."""
    chosen = f' class="{kind}"' if kind else ""
    return Html(f"<{tag}{chosen}>{''.join(inside)}</{tag}>")


def paragraph(words: object, kind: str = "") -> Html:
    """A paragraph of text."""
    return element("p", text(words), kind=kind)


def section(heading: str, *inside: Html) -> Html:
    """A part with its heading."""
    return element("section", element("h2", text(heading)), *inside)


def bullets(sentences: Iterable[str]) -> Html:
    """A list of sentences."""
    return element("ul", *(element("li", text(one)) for one in sentences))


def facts(pairs: Iterable[tuple[str, object]]) -> Html:
    """Names with their values; None is what is not known."""
    rows = [
        element("tr", _heading(name, "row"), element("td", text(NOT_KNOWN if it is None else it)))
        for name, it in pairs
    ]
    return element("table", element("tbody", *rows), kind="facts")


def table(
    label: str, headings: Sequence[str], rows: Iterable[Sequence[object]], kind: str = ""
) -> Html:
    """A table whose first column names its rows; None is what is not known.

    Its head stands anew on each sheet. On a narrow screen it can be scrolled, also by keys.
    """
    head = element("tr", *(_heading(name, "col") for name in headings))
    body = [
        element(
            "tr",
            _heading(str(row[0]), "row"),
            *(element("td", text(NOT_KNOWN if one is None else one)) for one in row[1:]),
        )
        for row in rows
    ]
    made = element("table", element("thead", head), element("tbody", *body), kind=kind)
    place = f'class="wide" role="region" aria-label="{text(label)}" tabindex="0"'
    return Html(f"<div {place}>{made}</div>")


def _heading(words: str, scope: str) -> Html:
    return Html(f'<th scope="{scope}">{text(words)}</th>')
