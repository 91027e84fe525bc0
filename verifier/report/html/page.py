"""What the self-contained pages of the operations desk share."""

from __future__ import annotations

import base64
import functools
import hashlib
from typing import Any

import jinja2
from markupsafe import Markup

from verifier.report.plain import plain

_LONGEST = 400


@functools.cache
def environment() -> jinja2.Environment:
    """Templates that escape everything; what steers a browser or cannot be seen is spelt out."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("verifier.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )


def draw(template: str, style: str, script: str | None = None, **values: Any) -> str:
    """A page with its style, and its script if any, in it; its policy allows these and no more."""
    parts = {"style": style} if script is None else {"style": style, "script": script}
    for name, file in parts.items():
        values[name], values[f"{name}_hash"] = _own(file)
    return environment().get_template(template).render(values)


@functools.cache
def _own(file: str) -> tuple[Markup, str]:
    """A file that goes into a page as it stands, and the hash that allows it (CSP 3)."""
    loader = environment().loader
    assert loader is not None
    text, _, _ = loader.get_source(environment(), file)
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return Markup(text), digest  # noqa: S704 - our own file


def _finalize(value: Any) -> Any:
    if isinstance(value, str) and not hasattr(value, "__html__"):
        return plain(value, longest=_LONGEST)
    return value
