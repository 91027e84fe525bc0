"""What changed between two sets of findings, by weight."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.model.problem import Subject
from verifier.model.result import WEIGHT, Finding
from verifier.rules.judge_again import differences


def finding(check: str = "identity.name", verdict: Any = "pass", **more: Any) -> Finding:
    values = {"subject": Subject("device", "ferry"), "reason": "r", **more}
    return Finding(check=check, verdict=verdict, **values)


@pytest.mark.parametrize(
    ("old", "new", "exact", "kind"),
    [
        (finding(), finding(verdict="fail"), False, "worse"),
        (finding(), finding(verdict="not-tested"), False, "worse"),
        (finding(verdict="warn"), finding(verdict="not-tested"), False, "worse"),
        (finding(verdict="fail"), finding(verdict="not-tested"), False, "better"),
        (finding(verdict="fail"), finding(), False, "better"),
        (finding(), None, False, "gone"),
        (None, finding(), False, "new"),
        (finding(expected="a"), finding(expected="b"), False, "plan"),
        (finding(observed=1), finding(observed=2), False, "value"),
        (
            finding("echo.round-trip", observed=1),
            finding("echo.round-trip", observed=2),
            False,
            None,
        ),
        (
            finding("echo.round-trip", observed=1),
            finding("echo.round-trip", observed=2),
            True,
            "value",
        ),
        (finding(), finding(reason="s"), False, None),
        (finding(), finding(reason="s"), True, "reason"),
        (finding(id="f1", origin="x"), finding(id="f9", origin=""), True, None),
    ],
)
def test_kinds(old, new, exact, kind) -> None:
    """Each change has its kind; number, origin and (unless judged twice) wording make none."""
    found = differences([f for f in [old] if f], [f for f in [new] if f], exact=exact)
    assert [d.kind for d in found] == ([kind] if kind else [])


def test_findings_of_one_check_are_paired_by_what_is_planned() -> None:
    """Two services of one device: the one that failed is named, in whatever order they come."""
    old = [finding("tcp.open", expected=f"{p}/tcp open") for p in (443, 22)]
    new = [old[1], finding("tcp.open", "fail", expected="443/tcp open")]
    (found,) = differences(old, new)
    assert (found.kind, found.new) == ("worse", new[1])


SOME = st.lists(
    st.builds(
        finding,
        st.sampled_from(["identity.name", "tcp.open", "echo.round-trip"]),
        st.sampled_from(["pass", "fail", "warn", "not-tested"]),
        expected=st.integers(0, 2),
        observed=st.integers(0, 2),
    ),
    max_size=8,
)


@given(SOME, SOME)
def test_by_weight_and_complete(old: list[Finding], new: list[Finding]) -> None:
    """Order is that of the weights; nothing differs from itself; each finding is told once."""
    found = differences(old, new, exact=True)
    ranks = [WEIGHT.index(d.kind) for d in found]
    assert ranks == sorted(ranks)
    assert not differences(old, old, exact=True)
    assert sum(d.old is not None for d in found) <= len(old)
    assert sum(d.kind == "new" for d in found) - sum(d.kind == "gone" for d in found) == (
        len(new) - len(old)
    )
