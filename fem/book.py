"""The instrument's book: one HTML page that needs no other file, no network and no script, for screen and paper.

Depends on fem/book_data.
"""

import base64
from functools import cache
from importlib.resources import files

import jinja2
from markupsafe import Markup, escape

from bracedtop.fem.book_data import BookData, Figure

NAMESPACE = ' xmlns="http://www.w3.org/2000/svg"'
"""An SVG file has to name it; inside HTML it is known."""


def book_html(data: BookData) -> str:
    """The book as one string of HTML.

    Every word out of the maker's files is escaped; pictures are embedded.

    Parameters
    ----------
    data : BookData
    """
    return _template().render(data=data, invented="invented" in data.note.lower())


def picture(figure: Figure) -> str:
    """Markup of a figure's picture: the SVG itself, or an image with its bytes in it."""
    alt = str(escape(figure.alt))
    if isinstance(figure.content, str):
        # Our own drawing, whose words were escaped when it was written.
        svg = figure.content.replace(NAMESPACE, "", 1)
        return svg.replace("<svg ", f'<svg role="img" aria-label="{alt}" ', 1)
    kind = "png" if figure.content.startswith(b"\x89PNG") else "jpeg"
    content = base64.b64encode(figure.content).decode("ascii")
    return f'<img src="data:image/{kind};base64,{content}" alt="{alt}">'


def size_words(n_bytes: int) -> str:
    """Size of a file in words."""
    return f"{n_bytes} bytes" if n_bytes < 10_000 else f"{n_bytes / 1000:.0f} kB"


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters.update(
        picture=lambda figure: Markup(picture(figure)),
        size=size_words,
    )
    return environment.from_string(files("bracedtop.fem").joinpath("book.html").read_text(encoding="utf-8"))
