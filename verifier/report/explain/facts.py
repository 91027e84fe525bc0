"""What pages of `explain` have from the program itself: facts of a topic, tables, figures, OIDs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from fnmatch import fnmatchcase

from verifier import errors
from verifier.model import mib
from verifier.model.cautions import CLOSING, cautions
from verifier.model.checks import CHECK_NAMES
from verifier.model.kind import MibObject
from verifier.model.manual import BY_CHECK as BY_HAND
from verifier.model.plan import Stage
from verifier.model.topic import Block, Items, Paragraph, Topic, TopicTable
from verifier.rules.compare.radio import carrier_end, level, modulation, power, read
from verifier.rules.compare.radio.expected import COMPUTED_DB
from verifier.rules.compare.state import CLOCK_S
from verifier.rules.diagnose.faults import BY_CHECK, FAULTS
from verifier.rules.diagnose.kinds import TRY_FIRST
from verifier.rules.plan import READING, RULES
from verifier.rules.radio import AGREE_DB
from verifier.rules.stages import ABSENT, BENCH_NEEDS

STAGES: tuple[Stage, ...] = ("bench", "alignment", "handover", "service")
FIGURES: Mapping[str, float] = {
    "agree-db": AGREE_DB,
    "clock-s": CLOCK_S,
    "computed-db": COMPUTED_DB,
    "frequency-khz": read.LEAST_MHZ * 1000,
    "headroom-db": modulation.HEADROOM_DB,
    "power-db": carrier_end.POWER_DB,
    "power-fail-db": power.POWER_FAIL_DB,
    "power-warn-db": power.POWER_WARN_DB,
    "reading-db": carrier_end.READ_DB,
    "reciprocity-fail-db": level.RECIPROCITY_FAIL_DB,
    "reciprocity-warn-db": level.RECIPROCITY_WARN_DB,
    "samples": level.ENOUGH,
    "steady-s": modulation.STEADY_S,
    "together-s": level.TOGETHER_S,
}
"""Figures of the rules that pages name: `{{figure power-db}}`."""
EXIT_CODES: Mapping[int, str] = {
    errors.EXIT_PASSED: "everything asked was tested and passed, or a person accepted that it "
    "stays untested; warnings are allowed",
    errors.EXIT_FAILED: "at least one finding failed (with --strict: or warned)",
    errors.EXIT_USAGE: "wrong command line, a filter matches nothing, or an output file cannot be "
    "written",
    errors.EXIT_UNTESTED: "nothing failed, but something could not be tested",
    errors.EXIT_INPUT: "a plan, profile, credentials file or sheet is missing, unreadable or "
    "faulty; nothing was sent",
    errors.EXIT_OURS: "a fault of this program: one line; --verbose shows where",
    errors.EXIT_NOT_DONE: "nothing was done: another run holds the store of sweeps, or the store "
    "cannot be used now",
    errors.EXIT_INTERRUPTED: "interrupted (Ctrl-C, SIGTERM); what was measured so far is written",
}
_OBJECTS: Mapping[str, str] = {
    o.what: o.oid for o in vars(mib).values() if isinstance(o, MibObject)
} | {
    "ipRouteNextHop": mib.IP_ROUTE["ipRouteNextHop"],
    "ipCidrRouteType": mib.IP_CIDR_ROUTE_TYPE,
    "inetCidrRouteType": mib.INET_CIDR_ROUTE_TYPE,
}  # fmt: skip


def inline(what: str, name: str) -> str:
    """What stands for `{{oid NAME}}` (the object with its OID) or `{{figure NAME}}`."""
    if what == "oid":
        return f"{name} ({_OBJECTS[name]})"
    return f"{FIGURES[name]:g}"


# -- facts of one topic ----------------------------------------------------------------------------


def facts(topic: Topic) -> list[Block]:
    """What the program knows of a topic, before its text."""
    made = _FACTS.get(topic.kind)
    return [] if made is None else list(made(topic.name))


def _of_check(name: str) -> Iterator[Block]:
    if (item := BY_HAND.get(name)) is not None:
        kinds = {"flag": "yes or no", "number": f"a number in {item.unit}",
                 "polarisation": "V or H", "text": "words"}  # fmt: skip
        yield Paragraph(f"Entered on the sheet as: {item.title}, {item.ask}; {kinds[item.kind]}.")
    left_out = [s for s in STAGES if any(fnmatchcase(name, p) for p in ABSENT[s])]
    if left_out:
        yield Paragraph(f"Not asked at stage: {', '.join(left_out)}.")
    if name in BENCH_NEEDS and "bench" not in left_out:
        yield Paragraph(f"At stage bench only where the plan has `{BENCH_NEEDS[name]}`.")
    if kinds_of := causes_of(name):
        yield Paragraph(f"Causes that show in it: {', '.join(kinds_of)}.")


def causes_of(check: str) -> list[str]:
    """Kinds of causes that name this check, or its family, among their signs."""
    return [
        fault.kind
        for fault in BY_CHECK.get(check, ())
        if fault.kind in TRY_FIRST
        and any(p != "*" for s in fault.by_check[check] for p in s.checks.split()
                if fnmatchcase(check, p))
    ]  # fmt: skip


def _of_rule(name: str) -> Iterator[Block]:
    for rule in READING:
        if rule.name == name:
            yield Paragraph(f"{rule.severity.capitalize()}, while the file is read: {rule.about}.")
    for rule_ in RULES:
        if rule_.name == name:
            needs = f" Needs: {rule_.needs}." if rule_.needs else ""
            yield Paragraph(f"{rule_.severity.capitalize()}: {rule_.about}.{needs}")


def _of_cause(name: str) -> Iterator[Block]:
    yield Paragraph(f"Do first: {TRY_FIRST[name]}.")
    fault = FAULTS.get(name)
    if fault is not None:
        sure = "At most *likely*" if fault.likely else "*Certain* where nothing else fits"
        patterns = dict.fromkeys(p for s in fault.signs for p in s.checks.split())
        shown = ", ".join("every check" if p == "*" else p for p in patterns)
        yield Paragraph(f"{sure}. It can show in: {shown}.")


def _of_stage(name: str) -> Iterator[Block]:
    if absent := ABSENT[name]:  # type: ignore[index]
        yield Paragraph(f"Not asked at this stage: {', '.join(absent)}.")
    if name == "bench":
        rows = tuple((check, field) for check, field in BENCH_NEEDS.items())
        yield TopicTable(("asked on the bench only with", "in the plan"), rows)


def _of_exit(name: str) -> Iterator[Block]:
    words = EXIT_CODES[int(name.removeprefix("exit-"))]
    yield Paragraph(f"{words[0].upper()}{words[1:]}.")


_FACTS: Mapping[str, Callable[[str], Iterator[Block]]] = {
    "check": _of_check, "rule": _of_rule, "cause": _of_cause, "stage": _of_stage,
    "exit": _of_exit,
}  # fmt: skip

# -- tables ----------------------------------------------------------------------------------------


def filled(name: str, topics: Sequence[Topic]) -> list[Block]:
    """The table of that name; KeyError where there is none."""
    if name.startswith("list "):
        return [_list(topics, name.removeprefix("list "))]
    return _TABLES[name]()


def _list(topics: Sequence[Topic], kind: str) -> TopicTable:
    rows = tuple((t.name, _line(t)) for t in topics if t.kind == kind)
    return TopicTable((kind, "what it is"), rows)


def _line(topic: Topic) -> str:
    if topic.kind == "rule":
        about = {r.name: r.about for r in READING} | {r.name: r.about for r in RULES}
        return about.get(topic.name, topic.about)
    return topic.about


def _exit_codes() -> list[Block]:
    return [TopicTable(("code", "meaning"), tuple((str(c), w) for c, w in EXIT_CODES.items()))]


def _cautions() -> list[Block]:
    return [Items(tuple(map(str, cautions("readme")))), Paragraph(CLOSING)]


def _by_hand() -> list[Block]:
    rows = tuple((i.check, i.title, i.ask, i.unit or "") for i in BY_HAND.values())
    return [TopicTable(("check", "on the sheet", "what is entered", "unit"), rows)]


_TABLES: Mapping[str, Callable[[], list[Block]]] = {
    "exit-codes": _exit_codes,
    "cautions": _cautions,
    "by-hand": _by_hand,
}


def names() -> Mapping[str, frozenset[str]]:
    """By kind of topic, everything of the program that has to have a page."""
    return {
        "check": CHECK_NAMES,
        "rule": frozenset({r.name for r in READING} | {r.name for r in RULES}),
        "cause": frozenset(TRY_FIRST),
        "stage": frozenset(STAGES),
        "exit": frozenset(f"exit-{code}" for code in EXIT_CODES),
    }
