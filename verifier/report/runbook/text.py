"""The runbook as text with check boxes, as JSON, and the words that the printed page shares."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from verifier.model.address import Address, Interface
from verifier.model.cautions import CLOSING, cautions
from verifier.model.laptop import System
from verifier.model.runbook import (
    Confirm,
    Connect,
    Runbook,
    RunbookCost,
    SetDevice,
    SetLaptop,
    Step,
)
from verifier.report.result.json import laid_out
from verifier.report.style import paragraph, plain
from verifier.rules.fit.suggest import PLACEHOLDER, AddressChange, commands, take_back
from verifier.rules.readdress.placement import View, key_of

_NAMED = 6
"""Number of devices or links that are named; more are counted."""
_KINDS = {
    "gateway": "Devices whose gateway it was",
    "uplink": "Devices reached through it",
    "manager": "Hosts that poll it",
    "receiver": "Hosts that hear from it",
    "neighbour-cache": "Neighbour caches",
    "label": "Labels",
    "plan": "Rows of the plan",
}
SETTINGS = {
    "segment": "all devices on one segment",
    "remote": "from afar: the laptop stays where it is and nothing is plugged",
    "one-at-a-time": "on the bench: nothing is attached at first, a connect attaches",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RunbookPaper:
    """A runbook with what its paper shows beside the steps.

    Attributes:
        plan: name and revision, in words.
        system: whose commands are printed.
        interface: the laptop's; None where a person is to name it.
        notes: what is to be said about the whole.
        behind: by device, the devices and links that hang behind it.
        staying: where the devices are that are blocked.
    """

    plan: str
    runbook: Runbook
    system: System
    interface: str | None = None
    notes: tuple[str, ...] = ()
    behind: Mapping[str, tuple[list[str], list[str]]] = field(default_factory=dict)
    staying: Mapping[str, Interface] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StepText:
    """A step in words.

    Attributes:
        kind: one word.
        what: the sentence.
        commands: what to run at the laptop, each with what is to come of it.
        caution: what may go wrong meanwhile; empty if nothing.
    """

    step: Step
    kind: str
    what: str
    commands: tuple[tuple[str, str], ...] = ()
    caution: str = ""


def shared_addresses(names: Sequence[str]) -> str:
    """Why devices are attached one at a time though nobody asked for it."""
    shown = ", ".join(plain(name) for name in names[:_NAMED])
    more = " ..." if len(names) > _NAMED else ""
    return (
        f"One at a time, because {shown}{more} share a present address: attached together they "
        "could not be told apart."
    )


def lines(sheet: RunbookPaper) -> Iterator[StepText]:
    """Every step in words, in order."""
    held: tuple[Interface, ...] = sheet.runbook.laptop_start
    for step in sheet.runbook.steps:
        if isinstance(step, Connect):
            yield StepText(step, "CONNECT", _connect(step), ((_forget(sheet), ""),))
        elif isinstance(step, SetLaptop):
            yield _laptop(sheet, step, held)
            held = step.addresses
        elif isinstance(step, SetDevice):
            yield _device(sheet, step)
        else:
            yield _confirm(sheet, step, View(held))


def _connect(step: Connect) -> str:
    if step.device is None:
        return "attach all devices together"
    return f"attach {plain(step.device)} alone; take every other device off"


def _forget(sheet: RunbookPaper) -> str:
    """Empties the laptop's neighbour cache: another device may have one and the same address.

    ip-neighbour(8), macOS' arp(8), Windows' netsh.
    """
    if sheet.system == "linux":
        return f"ip neigh flush dev {sheet.interface or PLACEHOLDER}"
    return "arp -d -a" if sheet.system == "macos" else "netsh interface ip delete arpcache"


def _laptop(sheet: RunbookPaper, step: SetLaptop, held: tuple[Interface, ...]) -> StepText:
    holds = " and ".join(map(str, step.addresses))
    what = f"the laptop holds {holds}, and no other" if holds else "the laptop holds no address"
    gone = [own for own in held if own not in step.addresses]
    new = [own for own in step.addresses if own not in held]
    made: list[str] = []
    for own in gone:
        made += take_back(AddressChange(sheet.interface, own), sheet.system) if not new else ()
    for own in new:
        off = gone if own is new[0] else ()
        remove = tuple((sheet.interface or PLACEHOLDER, o) for o in off)
        made += commands(AddressChange(sheet.interface, own, remove), sheet.system)
    return StepText(step, "LAPTOP", what, tuple((c, "") for c in dict.fromkeys(made)))


def _device(sheet: RunbookPaper, step: SetDevice) -> StepText:
    name, gateway = plain(step.device), step.gateway
    what = f"{name}: {step.from_} becomes {step.to}, "
    what += f"gateway {gateway}" if gateway is not None else "no gateway"
    if step.temporary:
        what += " (for the time being: it makes room for another)"
    elif step.from_.address == step.to.address:
        what += " (its address stays)"
    return StepText(step, "CHANGE", what + "; save it", (), _caution(sheet, step))


def _caution(sheet: RunbookPaper, step: SetDevice) -> str:
    if sheet.runbook.setting != "remote":
        return ""
    devices, links = sheet.behind.get(step.device, ([], []))
    hangs = [
        f"{word} {_some(names)}"
        for word, names in (("devices", devices), ("links", links))
        if names
    ]
    if not hangs:
        return "if the new address is mistyped, somebody has to go there"
    return f"behind it hang {', '.join(hangs)}; their traffic may drop while it takes the change"


def _some(names: Sequence[str]) -> str:
    listed = ", ".join(plain(n) for n in names[:_NAMED])
    return listed if len(names) <= _NAMED else f"{listed} and {len(names) - _NAMED} more"


def _confirm(sheet: RunbookPaper, step: Confirm, view: View) -> StepText:
    what = f"{plain(step.device)} answers at {step.address}"
    probes = [(_ping(sheet.system, step.address), "answers")]
    if step.silent is not None:
        what += f", nobody at {step.silent}"
        if view.source(key_of(step.silent)) is not None:
            probes.append((_ping(sheet.system, step.silent), "no answer"))
        elif sheet.runbook.setting != "remote" and step.silent.is_v4 and sheet.system == "linux":
            probes.append((_arp_probe(sheet, step.silent), "no reply"))
        else:
            what += " (the old address cannot be tested from here)"
    return StepText(step, "CONFIRM", what, tuple(probes))


def _ping(system: System, address: Address) -> str:
    """ping(8) of iputils, of macOS, and Windows' ping."""
    if system == "windows":
        return f"ping -n 3 {address}"
    if system == "macos" and not address.is_v4:
        return f"ping6 -c 3 {address}"
    return f"ping -c 3 {address}"


def _arp_probe(sheet: RunbookPaper, address: Address) -> str:
    """An ARP probe asks without an address of one's own (RFC 5227 2.1.1); arping(8) of iputils."""
    return f"arping -D -c 3 -I {sheet.interface or PLACEHOLDER} {address.ip}"


# -- text ------------------------------------------------------------------------------------------


def text(sheet: RunbookPaper, width: int = 100) -> str:
    """For a terminal or for paper; ends with a newline."""
    parts = ["\n".join(_wrapped(t, width, "") for t in heading(sheet))]
    if blocked := sheet.runbook.blocked:
        parts.append("\n".join(["Blocked", *(_bullet(b.device, b.reason, width) for b in blocked)]))
    if sheet.runbook.steps:
        parts.append("\n".join(_step(line, width) for line in lines(sheet)))
    if sheet.runbook.follow_ups:
        parts.append("\n".join(_follow_ups(sheet.runbook, width)))
    if sheet.runbook.steps:
        parts.append("\n".join(_cautions(width)))
    return "\n\n".join(parts) + "\n"


def _cautions(width: int) -> Iterator[str]:
    yield "Cautions"
    for caution in (*map(str, cautions("runbook")), CLOSING):
        yield _wrapped(caution, width, "  ", hang=4)


def heading(sheet: RunbookPaper) -> Iterator[str]:
    """What the runbook is and how good it is, in a few sentences."""
    book = sheet.runbook
    yield f"{sheet.plan}: from present to planned addresses"
    if not book.steps:
        yield "Nothing can be done." if book.blocked else "Nothing to do: every device is in place."
        return
    yield figures(book)
    many = "several addresses at a time" if book.laptop_addresses == "many" else "one address"
    start = ", ".join(map(str, book.laptop_start)) or "none"
    yield f"Setting: {SETTINGS[book.setting]}. The laptop may hold {many}; at first it has {start}."
    yield from sheet.notes


def figures(book: Runbook) -> str:
    """The four figures, and whether they are the best there are."""
    made = (book.device_changes, book.connects, book.laptop_changes, len(book.steps))
    cost = _counted(RunbookCost(*made))
    if book.lower_bound is None:
        return f"{cost}. There is no shorter way: proved."
    return f"{cost}. Valid, but not proved shortest; at least needed: {_counted(book.lower_bound)}."


def _counted(made: RunbookCost) -> str:
    words = (
        (made.device_changes, "device change"),
        (made.connects, "connect"),
        (made.laptop_changes, "laptop change"),
        (made.steps, "step"),
    )
    return ", ".join(f"{n} {word}{'' if n == 1 else 's'}" for n, word in words)


def _step(line: StepText, width: int) -> str:
    head = f"[ ] {line.step.n:>3}  {line.kind:<8} "
    made = [_wrapped(line.what, width, head, hang=len(head))]
    margin = " " * len(head)
    if line.caution:
        made.append(_wrapped(f"caution: {line.caution}", width, margin))
    for command, outcome in line.commands:
        # Not behind it as a comment: cmd and the zsh of macOS would take that for arguments.
        made.append(margin + (f"{outcome + ':':<12}" if outcome else "") + command)
    return "\n".join(made)


def _follow_ups(book: Runbook, width: int) -> Iterator[str]:
    by_kind: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for item in book.follow_ups:
        by_kind[item.kind].append((item.subject.name, item.message))
    yield "What follows from it"
    for kind, title in _KINDS.items():
        if kind in by_kind:
            yield f"  {title}"
            yield from (_bullet(name, message, width) for name, message in by_kind[kind])


def _bullet(name: str, message: str, width: int) -> str:
    return _wrapped(f"{plain(name)}: {message}", width, "  [ ] ", hang=6)


def _wrapped(words: str, width: int, first: str, *, hang: int | None = None) -> str:
    rest = " " * (len(first) if hang is None else hang)
    return "\n".join(paragraph(words, first, width, hang=rest))


def kinds() -> Mapping[str, str]:
    """The titles of the kinds of follow-ups, in the order they are shown."""
    return _KINDS


# --- as JSON ------------------------------------------------------------------------------------


def json(runbook: Runbook) -> str:
    """The document `plan-verifier/runbook/1`."""
    return laid_out(document(runbook))


def document(runbook: Runbook) -> dict[str, Any]:
    """The document `plan-verifier/runbook/1` as plain values."""
    return {
        "format": "plan-verifier/runbook/1",
        "setting": runbook.setting,
        "laptop_addresses": runbook.laptop_addresses,
        "laptop_start": [str(a) for a in runbook.laptop_start],
        "proved_best": runbook.proved_best,
        "lower_bound": _figures(runbook.lower_bound),
        "device_changes": runbook.device_changes,
        "connects": runbook.connects,
        "laptop_changes": runbook.laptop_changes,
        "steps": [_step_document(s) for s in runbook.steps],
        "follow_ups": [
            {
                "kind": f.kind,
                "subject": {"kind": f.subject.kind, "name": f.subject.name},
                "message": f.message,
            }
            for f in runbook.follow_ups
        ],
        "blocked": [{"device": b.device, "reason": b.reason} for b in runbook.blocked],
    }


def _figures(figures: RunbookCost | None) -> dict[str, int] | None:
    if figures is None:
        return None
    return {
        "device_changes": figures.device_changes,
        "connects": figures.connects,
        "laptop_changes": figures.laptop_changes,
        "steps": figures.steps,
    }


def _step_document(step: Step) -> dict[str, Any]:
    made: dict[str, Any] = {"n": step.n, "action": step.action}
    if isinstance(step, SetLaptop):
        return made | {"addresses": [str(a) for a in step.addresses]}
    made["device"] = step.device
    if isinstance(step, Connect):
        return made
    if isinstance(step, SetDevice):
        gateway = None if step.gateway is None else str(step.gateway)
        made |= {"from": str(step.from_), "to": str(step.to), "gateway": gateway}
        return made | {"temporary": step.temporary}
    silent = None if step.silent is None else str(step.silent)
    return made | {"address": str(step.address), "silent": silent}
