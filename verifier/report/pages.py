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


def draw(template: str, style: str, **values: Any) -> str:
    """A page with its style in it; its policy allows that style and nothing else."""
    loader = environment().loader
    assert loader is not None
    text, _, _ = loader.get_source(environment(), style)
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return environment().get_template(template).render(
        style=Markup(text),  # noqa: S704 - our own file
        style_hash=digest,
        **values,
    )  # fmt: skip


def _finalize(value: Any) -> Any:
    if isinstance(value, str) and not hasattr(value, "__html__"):
        return plain(value, longest=_LONGEST)
    return value
