"""Echoes by the system's own `ping` (iputils), which may send them where this user may not.

Its output is read as iputils prints it in the C locale (ping_common.c, ping6_common.c): a line a
reply, `(DUP!)` behind a doubled one, `From ADDRESS icmp_seq=N WORDS` for an ICMP error.
"""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache

from verifier.errors import CannotMeasureError
from verifier.model.observations import Silence
from verifier.probes.echo.exchange import TIMED_OUT, EchoBurst, EchoTarget
from verifier.probes.pace import Slots

MOST = 64
"""So many devices are asked with it: each is a process of its own."""
_AT_ONCE = 32
_LEAST_INTERVAL_S = 0.2
"""What ping takes from an ordinary user in every version (ping(8))."""
_PAYLOAD = 56
_SPARE_S = 5.0
_VERSION = re.compile(r"iputils[ -](\S+)")
_REPLY = re.compile(r"^\d+ bytes from .*icmp_seq=(\d+) .*time=([\d.]+) ms(.*)$")
_ERROR = re.compile(r"^From (\S+?):? icmp_seq=(\d+) (.+)$")
_SENT = re.compile(r"^(\d+) packets transmitted")
_LOCAL = re.compile(r"^ping: (?:connect|sendmsg|bind|send): (.+)$")
_NO_WAY = {"network is unreachable", "no route to host"}
_REFUSED = {"operation not permitted", "permission denied"}


@cache
def ping_version() -> str:
    """Version of the system's ping, `iputils 20221126`; empty where there is none of this kind."""
    path = shutil.which("ping")
    if path is None:
        return ""
    import subprocess  # noqa: PLC0415 - seldom needed

    try:
        done = subprocess.run(  # noqa: S603 - found by shutil, no argument from outside
            [path, "-V"], capture_output=True, text=True, check=False, timeout=5, env=_environment()
        )
    except (OSError, subprocess.SubprocessError):
        return ""
    found = _VERSION.search(done.stdout + done.stderr)
    return f"iputils {found.group(1)}" if found else ""


def _environment() -> dict[str, str]:
    """No more than ping needs: nothing of this process's own reaches it."""
    return {"LANG": "C", "LC_ALL": "C", "PATH": os.environ.get("PATH", os.defpath)}


@dataclass(slots=True)
class PingOutput:
    """What ping said of its echoes; by the sequence number, from 1 on.

    Attributes:
        sent: as it counted them; None where it did not come to that.
        refused: why it did not send, in its own words.
    """

    rtt_ms: dict[int, float] = field(default_factory=dict)
    errors: dict[int, Silence] = field(default_factory=dict)
    order: list[int] = field(default_factory=list)
    duplicates: int = 0
    sent: int | None = None
    refused: str = ""

    def burst(self, target: EchoTarget, count: int, timeout_s: float, by: str) -> EchoBurst:
        """The series of these echoes; what came later than `timeout_s` is none of its replies."""
        sent = min(count, self.sent or 0)
        if not sent and self.refused:
            return EchoBurst(target=target, silences=(self._refusal(),) * count,
                             payload_bytes=_PAYLOAD, by=by)  # fmt: skip
        rtts = tuple(self._in_time(n, timeout_s) for n in range(1, sent + 1))
        lost = (n for n, rtt in enumerate(rtts, start=1) if rtt is None)
        latest, reordered = 0, 0
        for number in self.order:
            reordered += number < latest
            latest = max(latest, number)
        return EchoBurst(
            target=target,
            rtt_ms=rtts,
            silences=tuple(self.errors.get(n, TIMED_OUT) for n in lost),
            duplicates=self.duplicates,
            reordered=reordered,
            payload_bytes=_PAYLOAD,
            by=by,
        )

    def _in_time(self, number: int, timeout_s: float) -> float | None:
        rtt = self.rtt_ms.get(number)
        return rtt if rtt is not None and rtt <= timeout_s * 1000 else None

    def _refusal(self) -> Silence:
        words = self.refused.casefold()
        reason = "no-route" if words in _NO_WAY else (
            "not-permitted" if words in _REFUSED else "sending-failed"
        )  # fmt: skip
        return Silence(reason=reason, text=self.refused)  # type: ignore[arg-type]


def parsed(output: str) -> PingOutput:
    """What ping printed, both its streams together."""
    found = PingOutput()
    for line in output.splitlines():
        if (reply := _REPLY.match(line)) is not None:
            number = int(reply.group(1))
            if "DUP" in reply.group(3) or number in found.rtt_ms:
                found.duplicates += 1
            else:
                found.rtt_ms[number] = float(reply.group(2))
                found.order.append(number)
        elif (error := _ERROR.match(line)) is not None:
            words = error.group(3).strip().lower().removeprefix("destination ")
            found.errors[int(error.group(2))] = Silence(
                reason="unreachable", text=words, reporter=error.group(1)
            )
        elif (sent := _SENT.match(line)) is not None:
            found.sent = int(sent.group(1))
        elif (local := _LOCAL.match(line)) is not None:
            found.refused = local.group(1).strip()
        elif line.startswith("ping: ") and not found.refused:
            found.refused = line.removeprefix("ping: ").strip()
    return found


class PingEchoer:
    """Sends series of echoes by the system's ping.

    Args:
        pace, on_link_pace, loopback_pace: as of `probes.echo.burst.Echoer`.
        why: what keeps this program from sending them itself; it stands in what is raised.
    """

    kernel_drops = 0

    def __init__(self, *, pace: Slots, on_link_pace: Slots, loopback_pace: Slots | None) -> None:
        self._pace = pace
        self._on_link = on_link_pace
        self._loopback = loopback_pace

    async def run(  # noqa: PLR0913
        self,
        targets: Sequence[EchoTarget],
        *,
        count: int,
        interval_s: float,
        timeout_s: float,
        why: str,
        on_done: Callable[[int, EchoBurst], None] | None = None,
        stop: threading.Event | None = None,
    ) -> list[EchoBurst]:
        """Sends `count` echoes to each target; at most `MOST` of them.

        Raises CannotMeasureError, with `why`, where there is no ping, it may not send either, or
        there are more targets.
        """
        if len(targets) > MOST:
            raise CannotMeasureError(
                f"{why}; the system's ping is asked for {MOST} devices at most, and these are "
                f"{len(targets)}"
            )
        version = ping_version()
        if not version:
            raise CannotMeasureError(f"{why}; and no ping of iputils can be run here")
        gate = asyncio.Semaphore(_AT_ONCE)
        found: list[EchoBurst] = [EchoBurst(target=t, payload_bytes=_PAYLOAD) for t in targets]

        async def one(index: int, target: EchoTarget) -> None:
            async with gate:
                await self._slot(target)
                if stop is not None and stop.is_set():
                    return
                output = await _ping(target, count, interval_s, timeout_s, stop)
            found[index] = output.burst(target, count, timeout_s, version)
            _refuse_without_permission(output, why)
            if on_done is not None:
                on_done(index, found[index])

        try:
            async with asyncio.TaskGroup() as group:
                for index, target in enumerate(targets):
                    group.create_task(one(index, target))
        except* CannotMeasureError as faults:
            raise next(_leaves(faults)) from None
        return found

    async def _slot(self, target: EchoTarget) -> None:
        paces = [self._loopback] if target.address.is_loopback else [self._pace]
        if target.on_link_new:
            paces.append(self._on_link)
        loop = asyncio.get_running_loop()
        for pace in paces:
            if pace is not None and not pace.unlimited:
                await asyncio.sleep(max(0.0, pace.slot() - loop.time()))


def _leaves(group: BaseExceptionGroup[CannotMeasureError]) -> Iterator[BaseException]:
    for each in group.exceptions:
        if isinstance(each, BaseExceptionGroup):
            yield from _leaves(each)
        else:
            yield each


def _refuse_without_permission(output: PingOutput, why: str) -> None:
    """Raises CannotMeasureError where ping may not send either."""
    words = output.refused.casefold()
    if any(w in words for w in _REFUSED) and not output.sent:
        raise CannotMeasureError(f"{why}; nor may the system's ping: {output.refused}")


async def _ping(
    target: EchoTarget,
    count: int,
    interval_s: float,
    timeout_s: float,
    stop: threading.Event | None,
) -> PingOutput:
    """One run of ping to its end; once `stop` is set it is told to say what it has so far."""
    apart_s = max(interval_s, _LEAST_INTERVAL_S)
    words = ["ping", "-n", "-c", str(count), "-i", f"{apart_s:g}", "-W", f"{timeout_s:g}",
             "-s", str(_PAYLOAD)]  # fmt: skip
    if (by := target.source or target.interface) is not None:
        words += ["-I", str(by)]
    try:
        process = await asyncio.create_subprocess_exec(
            *words, "--", str(target.address),
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.STDOUT,
            env=_environment(),
        )  # fmt: skip
    except OSError as fault:
        return PingOutput(refused=fault.strerror or str(fault))
    reading = asyncio.ensure_future(process.communicate())
    left_s = count * apart_s + 2 * timeout_s + _SPARE_S
    try:
        while not reading.done() and left_s > 0:
            await asyncio.wait([reading], timeout=min(0.1, left_s))
            left_s -= 0.1
            if stop is not None and stop.is_set():
                break
        if not reading.done():
            with suppress(ProcessLookupError):
                process.send_signal(signal.SIGINT)
        output, _ = await asyncio.wait_for(reading, _SPARE_S)
    finally:
        if process.returncode is None:
            with suppress(ProcessLookupError):
                process.kill()
    return parsed(output.decode("utf-8", "replace"))
