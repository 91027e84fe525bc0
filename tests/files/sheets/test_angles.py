"""Degrees, minutes and seconds in the forms that people write; what can be two things is refused."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.files.sheets.cell_number import angle

DEGREE = "\N{DEGREE SIGN}"


@pytest.mark.parametrize(
    ("text", "kind", "degrees"),
    [
        (f"47{DEGREE}06'30\"N", "latitude", "47.108333333"),
        (f"N 47{DEGREE} 06' 30,0\"", "latitude", "47.108333333"),
        ("47 06 30 N", "latitude", "47.108333333"),
        ("47 06 30 S", "latitude", "-47.108333333"),
        ("47 06 30s", "latitude", "-47.108333333"),
        ("S47d06m30s", "latitude", "-47.108333333"),
        ("47:06:30N", "latitude", "47.108333333"),
        ("47d06m30sN", "latitude", "47.108333333"),
        ("47.06.30 N", "latitude", "47.108333333"),
        ("47-06-30N", "latitude", "47.108333333"),
        ("470630N", "latitude", "47.108333333"),
        ("N470630.0", "latitude", "47.108333333"),
        ("4706N", "latitude", "47.1"),
        ("0201200W", "longitude", "-20.2"),
        ("02012W", "longitude", "-20.2"),
        ("020.12.00W", "longitude", "-20.2"),
        (f"47{DEGREE}6.5'N", "latitude", "47.108333333"),
        ("N47 06.500", "latitude", "47.108333333"),
        (f"47,1544{DEGREE} N", "latitude", "47.1544"),
        ("47.1544N", "latitude", "47.1544"),
        (f"57{DEGREE}58'48\"", "angle", "57.98"),
        (f"-20{DEGREE}12'", "longitude", "-20.2"),
    ],
)
def test_an_angle_is_read(text: str, kind: str, degrees: str) -> None:
    """One minute is a 60th, one second a 3600th of a degree (SI brochure, table 8)."""
    assert angle(text, kind) == degrees


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("4706.5N", "latitude"), ("201200W", "longitude"), ("470630", "latitude"), ("47.15", "latitude"),
        ("47-06N", "latitude"), ("47'06", "latitude"), ("47 06", "latitude"), ("5758", "angle"),
        ("1 2 3 4N", "latitude"), ("North", "latitude"),
    ],
)  # fmt: skip
def test_what_is_no_such_angle_is_left_to_the_reader_of_figures(text: str, kind: str) -> None:
    assert angle(text, kind) is None


@pytest.mark.parametrize(
    "text", [f"47{DEGREE}61'N", "47 06 60 N", f"47.5{DEGREE}30'", "476000N", f"-47{DEGREE}N"]
)
def test_what_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"minutes and seconds|a sign and a letter"):
        angle(text, "latitude")


FORMS = [
    "{d:02}{deg}{m:02}'{s:05.2f}\"{n}", "{n} {d}{deg} {m}' {s:.2f}\"", "{d} {m} {s:.2f} {n}",
    "{d:02}:{m:02}:{s:05.2f}{n}", "{d:02}.{m:02}.{s:05.2f} {n}", "{d:02}-{m:02}-{s:05.2f}{n}",
    "{d:02}{m:02}{s:05.2f}{n}", "{n}{d:02}{m:02}{s:05.2f}", "{d}d{m}m{s:.2f}s{n}",
]  # fmt: skip


@given(
    st.integers(0, 89), st.integers(0, 59), st.integers(0, 5999), st.sampled_from("NS"),
    st.sampled_from(FORMS),
)  # fmt: skip
def test_no_form_is_read_as_another_angle(d: int, m: int, s: int, n: str, form: str) -> None:
    text = form.format(d=d, m=m, s=s / 100, n=n, deg=DEGREE)
    found: Any = angle(text, "latitude")
    meant = (Decimal(d) + Decimal(m) / 60 + Decimal(s) / 360_000) * (-1 if n == "S" else 1)
    assert abs(Decimal(found) - meant) <= Decimal("6e-10"), text
