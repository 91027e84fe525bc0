"""The one template environment of all pages, and how a self-contained page is drawn with it."""

from __future__ import annotations

import base64
import functools
import hashlib
from typing import Any, Final

import jinja2
from jinja2.runtime import Context
from markupsafe import Markup

from verifier.report.style import plain

LONGEST: Final = 600
"""Characters of one text on a page, unless the page has a limit of its own; the rest is counted."""


def draw(
    template: str, style: str, script: str | None = None, *, longest: int = LONGEST, **values: Any
) -> str:
    """A page with its style, and its script if any, in it; its policy allows these and no more.

    Args:
        template: the file of the page; it is given `values`.
        style: file of its style sheet, which stands in the page as it is.
        script: file of its script, likewise.
        longest: characters of one text; what is longer is cut, with its length.
        **values: what the template shows, values and functions.
    """
    parts = {"style": style} if script is None else {"style": style, "script": script}
    for name, file in parts.items():
        values[name], values[f"{name}_hash"] = _own(file)
    return _environment().get_template(template).render(values, longest=longest)


@functools.cache
def _environment() -> jinja2.Environment:
    """Templates that escape everything; what steers a browser or cannot be seen is spelt out."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("verifier.report.html"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )


@functools.cache
def _own(file: str) -> tuple[Markup, str]:
    """A file that goes into a page as it stands, and the hash that allows it (CSP 3)."""
    loader = _environment().loader
    assert loader is not None
    text, _, _ = loader.get_source(_environment(), file)
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return Markup(text), digest  # noqa: S704 - our own file


@jinja2.pass_context
def _finalize(context: Context, value: Any) -> Any:
    """Whatever a device or a plan says becomes visible characters, and is cut where endless."""
    if isinstance(value, str) and not hasattr(value, "__html__"):
        return plain(value, longest=context["longest"])
    return value
