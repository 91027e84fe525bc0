"""Adds addresses to one of this machine's interfaces, and takes them back whatever happens.

Before an address is added, the way back is recorded in a file (mode 600, whole or not there), one
for each network namespace. It is gone when the address is, and is worth nothing after the machine
has started anew. Where the process was killed in between, the next one finds the file and
takes the address back. An address that somebody else has set anew since is left alone: the kernel
tells when each was set. Linux only.
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
import socket
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Self

from verifier.errors import CannotMeasureError
from verifier.model.address import Interface
from verifier.probes.cable.arp import arp_responder
from verifier.probes.laptop.netlink import HeldAddress, Netlink

_FORMAT = "plan-verifier/laptop-undo/1"
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def this_boot() -> str:
    """The kernel's name for the time since the machine started."""
    return _BOOT_ID.read_text(encoding="ascii").strip()


def state_folder() -> Path:
    """Where the way back is recorded: `$XDG_STATE_HOME/plan-verifier` or its usual place.

    Raises OSError where there is neither.
    """
    folder = os.environ.get("XDG_STATE_HOME", "")
    if folder.startswith("/"):
        return Path(folder) / "plan-verifier"
    try:
        return Path.home() / ".local" / "state" / "plan-verifier"
    except RuntimeError as fault:
        raise OSError(errno.ENOENT, str(fault)) from fault


@dataclass(frozen=True, slots=True)
class AddedAddress:
    """One address; `created` as the kernel tells it, None before it is set."""

    own: Interface
    created: int | None = None


@dataclass(frozen=True, slots=True)
class UndoRecord:
    """What is to be taken back, and where."""

    boot: str
    interface: str
    index: int
    addresses: tuple[AddedAddress, ...]

    def to_json(self) -> str:
        """The record as it is written."""
        rows = [{"address": str(a.own), "created": a.created} for a in self.addresses]
        document = {
            "format": _FORMAT,
            "boot": self.boot,
            "interface": self.interface,
            "index": self.index,
            "addresses": rows,
        }
        return json.dumps(document, indent=1) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Raises ValueError, KeyError or TypeError where it is no such record."""
        document: dict[str, Any] = json.loads(text)
        if document["format"] != _FORMAT:
            raise ValueError(document["format"])
        rows = tuple(
            AddedAddress(Interface.parse(row["address"]), row["created"])
            for row in document["addresses"]
        )
        return cls(str(document["boot"]), str(document["interface"]), int(document["index"]), rows)


class Undo:
    """The record of this network namespace; only one process at a time has it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.path = folder / f"laptop-{Path('/proc/self/ns/net').stat().st_ino}.json"

    @contextmanager
    def claimed(self) -> Iterator[bool]:
        """Whether the record is ours now; it is not while another process has it."""
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                yield False
                return
            yield True
        finally:
            os.close(handle)

    def write(self, record: UndoRecord) -> None:
        """Records it, on the disk, before it returns. Raises OSError."""
        handle, name = tempfile.mkstemp(prefix=".laptop-", dir=self._folder)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(record.to_json())
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(self.path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        folder = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)

    def read(self) -> UndoRecord | None:
        """What was recorded, or None. Raises as `UndoRecord.from_json` does, or OSError."""
        try:
            return UndoRecord.from_json(self.path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None

    def clear(self) -> None:
        """There is nothing to be taken back any more."""
        self.path.unlink(missing_ok=True)


Say = Callable[[str], None]

_SECONDARY, _DAD_FAILED, _TENTATIVE = 0x01, 0x08, 0x40
_DAD_WAIT_S = 5.0
"""Duplicate address detection takes RetransTimer (1 s) and a random delay of 1 s (RFC 4862 5.4)."""
_PROMOTE = "/proc/sys/net/ipv4/conf/{}/promote_secondaries"


def take_back_leftovers(say: Say, folder: Path | None = None) -> None:
    """Takes back what a run that was killed has left in this network namespace; says so."""
    try:
        undo = Undo(folder or state_folder())
    except OSError:  # no folder, no record
        return
    try:
        if not undo.path.exists():
            return
        with undo.claimed() as ours:
            if ours:
                _take_back_recorded(undo, say)
    except OSError as fault:
        say(f"what an earlier run may have set ({undo.path}) was not taken back: {_why(fault)}")


def _take_back_recorded(undo: Undo, say: Say) -> None:
    try:
        record = undo.read()
    except (ValueError, KeyError, TypeError, AttributeError):
        aside = undo.path.with_suffix(".damaged")
        undo.path.replace(aside)
        say(
            f"the record of what an earlier run set at this laptop is damaged ({aside}): nothing "
            "was touched; compare `ip address` with what you have set yourself"
        )
        return
    if record is not None and record.boot == this_boot():
        say(f"an earlier run was ended before it could take back what it set: {undo.path}")
        _take_back(record, say)
    undo.clear()


@contextmanager
def added(
    interface: str, addresses: Sequence[Interface], say: Say, folder: Path | None = None
) -> Iterator[None]:
    """Has `addresses` on `interface` while the context lasts.

    An IPv6 address is ready when it is entered: its duplicate address detection is over.

    Raises CannotMeasureError: no permission, no such interface, the way back cannot be recorded,
    another run has set addresses, an address is held already or by another host.
    """
    with ExitStack() as until_the_end:
        with _plainly("the way back cannot be recorded"):
            undo = Undo(folder or state_folder())
            if not until_the_end.enter_context(undo.claimed()):
                raise CannotMeasureError(
                    "another run of plan-verifier has set an address at this laptop: end it first"
                )
        with _plainly(f"{interface} cannot be asked"), Netlink() as kernel:
            record = _planned(kernel, interface, addresses)
        with _plainly(f"the way back cannot be recorded in {undo.path}"):
            undo.write(record)
        try:
            record = _add_all(record)
            with _plainly(f"the way back cannot be recorded in {undo.path}"):
                undo.write(record)
            yield
        finally:
            _take_back(record, say)
            undo.clear()


def _planned(kernel: Netlink, interface: str, addresses: Sequence[Interface]) -> UndoRecord:
    index = socket.if_nametoindex(interface)
    for own in addresses:
        for held in kernel.addresses():
            if held.packed == own.address.ip.packed:
                raise CannotMeasureError(f"this laptop holds {own.address} already")
        if own.address.is_v4 and (other := arp_responder(interface, own.address)) is not None:
            raise CannotMeasureError(
                f"{other} on the cable holds {own.address}, which the plan takes for free; "
                "nothing was changed"
            )
    return UndoRecord(this_boot(), interface, index, tuple(AddedAddress(own) for own in addresses))


def _add_all(record: UndoRecord) -> UndoRecord:
    """Adds every address; the record with the time of each. Raises CannotMeasureError."""
    with Netlink() as kernel:
        for one in record.addresses:
            with _plainly(f"{one.own} cannot be set on {record.interface}"):
                kernel.add_address(record.index, one.own)
        _await_detection(kernel, record)
        held = list(_on(kernel, record.index))
    stamps = {h.packed: h.created for h in held}
    return replace(
        record,
        addresses=tuple(
            replace(one, created=stamps.get(one.own.address.ip.packed)) for one in record.addresses
        ),
    )


def _await_detection(kernel: Netlink, record: UndoRecord) -> None:
    """Returns when no address is tentative any more; raises where another host has one."""
    ours = {one.own.address.ip.packed: one.own for one in record.addresses}
    deadline_s = time.monotonic() + _DAD_WAIT_S
    while True:
        flags = {h.packed: h.flags for h in _on(kernel, record.index) if h.packed in ours}
        for packed, bits in flags.items():
            if bits & _DAD_FAILED:
                raise CannotMeasureError(
                    f"another host on the cable holds {ours[packed].address}, which the plan "
                    "takes for free"
                )
        if not any(bits & _TENTATIVE for bits in flags.values()) or time.monotonic() > deadline_s:
            return
        time.sleep(0.05)


def _take_back(record: UndoRecord, say: Say) -> None:
    """Takes every address back that is still as we set it; says of each what became of it.

    Raises OSError where the kernel refuses.
    """
    with Netlink() as kernel:
        for one in record.addresses:
            where = f"{one.own} on {record.interface}"
            try:
                became = _take_one_back(kernel, record, one)
            except OSError as fault:
                say(f"{where} could not be taken back: {_why(fault)}")
                raise
            if became:
                say(f"{where} {became}")


def _take_one_back(kernel: Netlink, record: UndoRecord, one: AddedAddress) -> str:
    """What became of the address; nothing where it was never set."""
    with suppress(OSError):
        if socket.if_nametoindex(record.interface) != record.index:
            return "was left alone: the interface is another one now"
    here = list(_on(kernel, record.index))
    packed = one.own.address.ip.packed
    address = next((h for h in here if h.packed == packed), None)
    if address is None:
        return "is not there any more; nothing was touched" if one.created is not None else ""
    if address.prefix != one.own.prefix or one.created not in {None, address.created}:
        return "was left alone: somebody else has set it anew meanwhile"
    if (beside := _would_go_too(record, address, here, one.own)) is not None:
        return f"was left: {beside}, a secondary address of its subnet, would go with it"
    try:
        kernel.delete_address(record.index, one.own)
    except OSError as fault:
        if fault.errno not in {errno.EADDRNOTAVAIL, errno.ENODEV}:
            raise
    return "is taken back"


def _would_go_too(
    record: UndoRecord, ours: HeldAddress, here: Sequence[HeldAddress], own: Interface
) -> str | None:
    """An address of somebody else's that the kernel deletes with ours, or None (ip-sysctl)."""
    if ours.flags & _SECONDARY or not own.address.is_v4 or _promotes(record.interface):
        return None
    mine = {one.own.address.ip.packed for one in record.addresses}
    for other in here:
        same = len(other.packed) == len(ours.packed) and other.prefix == ours.prefix
        inside = own.first <= int.from_bytes(other.packed, "big") <= own.last
        if same and inside and other.flags & _SECONDARY and other.packed not in mine:
            return socket.inet_ntop(socket.AF_INET, other.packed)
    return None


def _promotes(interface: str) -> bool:
    """Whether the kernel keeps a subnet's other addresses when its first one goes."""
    for name in ("all", interface):
        with suppress(OSError):
            if Path(_PROMOTE.format(name)).read_text(encoding="ascii").strip() == "1":
                return True
    return False


def _on(kernel: Netlink, index: int) -> Iterator[HeldAddress]:
    return (held for held in kernel.addresses() if held.index == index)


@contextmanager
def _plainly(what: str) -> Iterator[None]:
    """Turns an OSError into a CannotMeasureError that says what cannot be done, and why."""
    try:
        yield
    except OSError as fault:
        raise CannotMeasureError(f"{what}: {_why(fault)}; nothing was changed") from fault


def _why(fault: OSError) -> str:
    if fault.errno in {errno.EPERM, errno.EACCES}:
        return "no permission: run it as root, for instance with sudo"
    if fault.errno == errno.ENODEV:
        return "there is no such interface (any more)"
    return os.strerror(fault.errno) if fault.errno else str(fault)
