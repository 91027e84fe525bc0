"""Causes as a report shows them: those that explain the same together, with what hangs on them.

Causes of one first finding are put together, and what hangs on them is counted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from verifier.model.result import VERDICTS, Cause, Finding, Result, Verdict

_BEHIND = frozenset({"uplink-down", "gateway-down", "hop-down", "nothing-answers"})
"""Kinds of causes that have devices behind them."""
_FEW = 3
"""Number of other subjects that are named with their checks; more are counted."""
_NAMED = 12
"""Number of counted subjects that are named too."""
_SAID = 3
"""Number of findings named as evidence; more are counted."""
_VERBS: dict[Verdict, str] = {
    "pass": "passes", "fail": "fails", "warn": "warns", "not-tested": "is not tested",
}  # fmt: skip
_COUNTED: dict[Verdict, str] = {"fail": "fail", "not-tested": "not tested", "warn": "warn"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Causes that explain the same first finding: one, or several that fit.

    Attributes:
        head: that finding, to be shown whole.
        same: further failures and warnings of the same subject.
        few: what hangs on it besides, to be named: of the head's subject and few others.
        many: findings of so many other subjects that they are counted instead.
        speaking, against: what passes and speaks for a cause; what speaks against it; by its id.
        common: what passes and speaks for each of several.
    """

    causes: tuple[Cause, ...]
    head: Finding
    same: tuple[Finding, ...] = ()
    few: tuple[Finding, ...] = ()
    many: tuple[Finding, ...] = ()
    speaking: dict[str, tuple[Finding, ...]]
    against: dict[str, tuple[Finding, ...]]
    common: tuple[Finding, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """The heaviest verdict of what is explained."""
        findings = (self.head, *self.same, *self.few, *self.many)
        return min((f.verdict for f in findings), key=VERDICTS.index)

    @property
    def folded(self) -> str:
        """The counted ones in words: `12 devices behind it: 12 fail, 168 not tested`."""
        if not self.many:
            return ""
        where = "behind it" if {c.kind for c in self.causes} & _BEHIND else "with it"
        devices, others = self._names("device"), self._names("link")
        words = [f"{len(x)} {name}" for x, name in ((devices, "devices"), (others, "links")) if x]
        listed = (devices or others)[:_NAMED]
        more = len(devices or others) - len(listed)
        names = ", ".join(listed) + (f" and {more} more" if more else "")
        return f"{' and '.join(words)} {where}: {counted(self.many)}: {names}"

    def _names(self, kind: str) -> list[str]:
        """Names of the counted devices, or of what else there is."""
        devices = kind == "device"
        names = (f.subject.name for f in self.many if (_kind(f) == "device") == devices)
        return list(dict.fromkeys(names))


def groups(result: Result) -> list[Group]:
    """Every cause, with its findings, heaviest first; each finding stands in one group only."""
    by_id = {f.id: f for f in result.findings}
    together: dict[str, list[Cause]] = {}
    for cause in result.causes:
        if cause.for_ and cause.for_[0] in by_id:
            together.setdefault(cause.for_[0], []).append(cause)
    shown: set[str] = set()
    made = []
    for head, causes in together.items():
        ids = dict.fromkeys(i for c in causes for i in c.for_)
        rest = [by_id[i] for i in ids if i != head and i in by_id and i not in shown]
        shown.update(ids)
        made.append(_group(by_id[head], causes, rest, by_id))
    return sorted(made, key=lambda g: VERDICTS.index(g.verdict))


def _group(
    head: Finding, causes: Sequence[Cause], rest: Iterable[Finding], by_id: dict[str, Finding]
) -> Group:
    wrong = [f for f in rest if f.verdict != "pass"]
    own = [f for f in wrong if _alike(f, head)]
    others = [f for f in wrong if not _alike(f, head)]
    counted_ = len({f.subject.name for f in others}) > _FEW
    untested = [f for f in own if f.verdict == "not-tested"]
    speaking = {
        c.id: [i for i in c.for_ if i in by_id and by_id[i].verdict == "pass"] for c in causes
    }
    common = set.intersection(*map(set, speaking.values())) if len(causes) > 1 else set()
    return Group(
        causes=tuple(causes),
        head=head,
        same=tuple(f for f in own if f.verdict != "not-tested"),
        few=(*untested, *(() if counted_ else others)),
        many=tuple(others) if counted_ else (),
        speaking={
            c: tuple(by_id[i] for i in ids if i not in common) for c, ids in speaking.items()
        },
        against={c.id: tuple(by_id[i] for i in c.against if i in by_id) for c in causes},
        common=tuple(by_id[i] for i in speaking[causes[0].id] if i in common),
    )


def _kind(finding: Finding) -> str:
    return "device" if finding.subject.kind == "port" else finding.subject.kind


def _alike(finding: Finding, head: Finding) -> bool:
    return (_kind(finding), finding.subject.name) == (_kind(head), head.subject.name)


def counted(findings: Iterable[Finding]) -> str:
    """How many ended how, in words."""
    counts = Counter(f.verdict for f in findings)
    return ", ".join(f"{counts[v]} {_COUNTED[v]}" for v in VERDICTS if v in _COUNTED and counts[v])


def evidence(findings: Sequence[Finding]) -> str:
    """Findings as evidence, in words: what was found where."""
    parts = [f"{f.subject} {f.check} {_VERBS[f.verdict]}" for f in findings[:_SAID]]
    more = len(findings) - len(parts)
    return "; ".join([*parts, *([f"{more} more"] if more else [])])


def counted_with_a_cause(result: Result) -> frozenset[tuple[str, str]]:
    """Kind and name of the subjects of which nothing is wrong but what is counted with a cause."""
    counted_ids = {f.id for g in groups(result) for f in g.many}
    wrong = [f for f in result.findings if f.verdict != "pass"]
    with_it = {(_kind(f), f.subject.name) for f in wrong if f.id in counted_ids}
    return frozenset(
        with_it - {(_kind(f), f.subject.name) for f in wrong if f.id not in counted_ids}
    )


def explained(result: Result) -> frozenset[str]:
    """Ids of findings that a cause explains."""
    return frozenset(i for c in result.causes for i in c.for_)


def done_with_another(result: Result) -> frozenset[str]:
    """Ids of findings that need no item of their own: they go with the first one of their cause.

    That is so where the cause is certain, where it has devices behind it, and for what could not be
    tested.
    """
    untested = {f.id for f in result.findings if f.verdict == "not-tested"}
    heads = {c.for_[0] for c in result.causes if c.for_}
    return frozenset(
        i
        for c in result.causes
        for i in c.for_[1:]
        if i not in heads and (c.certainty == "certain" or c.kind in _BEHIND or i in untested)
    )
