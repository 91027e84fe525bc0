"""A strict reader of OpenMetrics text, written from the specification's ABNF, apart from our writer.

What it refuses: anything after `# EOF` or without it, samples of a family that are not together,
endings that do not belong to the type, a device that is no ending of the name, doubled samples or labels,
escapes that do not exist.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

NAME = r"[a-zA-Z_:][a-zA-Z0-9_:]*"
LABEL = r"[a-zA-Z_][a-zA-Z0-9_]*"
STRING = r'"((?:[^"\\\n]|\\[\\n"])*)"'
NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?|[+-]?[iI][nN][fF](?:[iI][nN][iI][tT][yY])?|[nN][aA][nN]"
SAMPLE = re.compile(rf"({NAME})(?:\{{(.*)\}})? ({NUMBER})(?: ({NUMBER}))?")
META = re.compile(rf"# (TYPE|UNIT|HELP) ({NAME}) ((?:[^\\\n]|\\[\\n\"])*)")
ENDINGS = {
    "gauge": {""}, "unknown": {""}, "stateset": {""}, "info": {"_info"},
    "counter": {"_total", "_created"}, "summary": {"", "_sum", "_count", "_created"},
    "histogram": {"_bucket", "_sum", "_count", "_created"},
}  # fmt: skip


@dataclass
class Family:
    name: str
    type: str = "unknown"
    unit: str = ""
    help: str = ""
    samples: list[tuple[str, dict[str, str], float]] = field(default_factory=list)


def read(text: str) -> list[Family]:
    """The families of an exposition; ValueError for whatever the grammar does not allow."""
    if not text.endswith("# EOF\n"):
        raise ValueError("no '# EOF' at the end")
    families: dict[str, Family] = {}
    current: Family | None = None
    for line in text.removesuffix("# EOF\n").splitlines():
        if (meta := META.fullmatch(line)) is not None:
            kind, name, value = meta.groups()
            if current is None or current.name != name:
                if name in families:
                    raise ValueError(f"{name} is not in one piece")
                current = families[name] = Family(name)
            if current.samples:
                raise ValueError(f"{line!r} after samples")
            setattr(current, kind.lower(), value)
            continue
        sample = SAMPLE.fullmatch(line)
        if sample is None or current is None:
            raise ValueError(f"{line!r} is no line of the grammar")
        _take(current, sample[1], _labels(sample[2] or ""), float(sample[3]))
    for family in families.values():
        if family.unit and not family.name.endswith(f"_{family.unit}"):
            raise ValueError(f"{family.name} does not end in its device {family.unit}")
    return list(families.values())


def _take(family: Family, name: str, labels: dict[str, str], value: float) -> None:
    if not name.startswith(family.name) or name[len(family.name) :] not in ENDINGS[family.type]:
        raise ValueError(f"{name} is no sample of {family.type} {family.name}")
    if any((name, labels) == (n, known) for n, known, _ in family.samples[-40:]):
        raise ValueError(f"{name}{labels} twice")
    if family.type == "stateset" and (value not in {0.0, 1.0} or family.name not in labels):
        raise ValueError(f"{name}{labels} {value} is no state")
    if family.type == "info" and value != 1.0:
        raise ValueError("an info is 1")
    if family.type == "counter" and value < 0:
        raise ValueError("a counter is never negative")
    family.samples.append((name, labels, value))


def _labels(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    at = 0
    while at < len(text):
        pair = re.compile(rf"({LABEL})={STRING}(,|$)").match(text, at)
        if pair is None or pair[1] in found:
            raise ValueError(f"labels {text!r}")
        found[pair[1]] = re.sub(r'\\([\\n"])', lambda m: "\n" if m[1] == "n" else m[1], pair[2])
        at = pair.end()
    return found
