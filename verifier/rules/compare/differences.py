"""Two sets of findings side by side: what changed, in order of weight."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from verifier.model.difference import WEIGHT, Difference, DifferenceKind
from verifier.model.result import VERDICTS, Finding
from verifier.model.subject import Subject

UNSTEADY = frozenset(
    {"echo.round-trip", "echo.jitter", "echo.gap", "state.restarts", "state.clock"}
)
"""Values that differ from one run to the next although nothing has changed."""


def differences(
    old: Iterable[Finding], new: Iterable[Finding], *, exact: bool = False
) -> tuple[Difference, ...]:
    """What differs, heaviest first, else in the order of the newer findings.

    Args:
        old: findings of a run.
        new: findings of another run, or of the same one judged again.
        exact: the same observations were judged twice, so every difference counts: without it,
            wording and values that are never the same twice do not.
    """
    found = [d for pair in _pairs(old, new) if (d := _difference(*pair, exact=exact)) is not None]
    return tuple(sorted(found, key=_rank))


def _pairs(
    old: Iterable[Finding], new: Iterable[Finding]
) -> Iterator[tuple[Finding | None, Finding | None]]:
    """Findings of the same check and subject: those with the same planned value first."""
    before: dict[tuple[str, Subject], list[Finding]] = defaultdict(list)
    now: dict[tuple[str, Subject], list[Finding]] = defaultdict(list)
    for finding in old:
        before[finding.check, finding.subject].append(finding)
    for finding in new:
        now[finding.check, finding.subject].append(finding)
    for key in dict.fromkeys((*now, *before)):
        yield from _matched(before.get(key, []), now.get(key, []))


def _matched(
    old: Sequence[Finding], new: Sequence[Finding]
) -> Iterator[tuple[Finding | None, Finding | None]]:
    left = list(old)
    unmatched = []
    for finding in new:
        same = next((f for f in left if f.expected == finding.expected), None)
        if same is None:
            unmatched.append(finding)
        else:
            left.remove(same)
            yield same, finding
    both = min(len(left), len(unmatched))
    yield from zip(left[:both], unmatched[:both], strict=True)
    yield from ((f, None) for f in left[both:])
    yield from ((None, f) for f in unmatched[both:])


def _difference(old: Finding | None, new: Finding | None, *, exact: bool) -> Difference | None:
    if (kind := _kind(old, new, exact=exact)) is None:
        return None
    return Difference(kind=kind, old=old, new=new)


def _kind(old: Finding | None, new: Finding | None, *, exact: bool) -> DifferenceKind | None:
    if old is None or new is None:
        return "gone" if new is None else "new"
    if old.verdict != new.verdict:
        worse = VERDICTS.index(new.verdict) < VERDICTS.index(old.verdict)
        return "worse" if worse else "better"
    if (old.expected, old.unit) != (new.expected, new.unit):
        return "plan"
    if old.observed != new.observed and (exact or old.check not in UNSTEADY):
        return "value"
    if exact and (old.reason, old.advice) != (new.reason, new.advice):
        return "reason"
    return None


def _rank(difference: Difference) -> tuple[int, int]:
    return WEIGHT.index(difference.kind), VERDICTS.index(difference.either.verdict)
