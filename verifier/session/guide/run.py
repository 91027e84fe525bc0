"""Leads a person through a runbook: says a step, waits, looks, says what was seen; keeps a journal.

A step is done when it was seen to be done. What the journal says of earlier ones is looked up again
wherever that can be.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from verifier.errors import (
    EXIT_FAILED,
    EXIT_INTERRUPTED,
    EXIT_PASSED,
    EXIT_UNTESTED,
    CannotMeasureError,
)
from verifier.files.journals.guide import GuideJournal
from verifier.model.address import Interface
from verifier.model.runbook import Assessment, Confirm, Connect, SetDevice, SetLaptop, Step
from verifier.rules.guide import (
    Course,
    after_change,
    before_change,
    during_change,
    reopened,
    standing,
)
from verifier.rules.guide.before import last_change
from verifier.session.guide.look import DeviceObserver, Guiding, Move, marks_of, told
from verifier.session.guide.wait import EVERY_S, STEADY, Console, Ending, Stopped, Waiter
from verifier.session.laptop import LaptopAddresses, lacking, link_lost
from verifier.session.recorder import timestamp

_CODES: Mapping[Ending, int] = {"interrupted": EXIT_INTERRUPTED, "input-ended": EXIT_UNTESTED}


@dataclass(slots=True)
class Guide:
    """One run of the guide.

    Attributes:
        hands: sets this laptop's addresses; None: a person does.
        not_tested: what could not be told, in words.
        done: numbers of the steps that are done.
    """

    guiding: Guiding
    eyes: DeviceObserver
    hands: LaptopAddresses | None
    console: Console
    journal: GuideJournal
    waiting: Waiter
    not_tested: list[str] = field(default_factory=list)
    done: set[int] = field(default_factory=set)
    _told: set[int] = field(default_factory=set)

    def run(self) -> tuple[Ending, int]:
        """Goes through the steps; how it ended, and the exit code.

        Raises CannotMeasureError where this machine cannot be read or set, UsageError where the
        journal cannot be written. What was set at the laptop is for `LaptopAddresses` to take back.
        """
        ending: Ending = "failed"
        try:
            self._begin()
            for step in self._steps[self._course().at :]:
                if step.n not in self.done:
                    self._go(step)
            self._once_more()
            ending = "done"
        except Stopped as stop:
            ending = stop.ending
        except CannotMeasureError as fault:
            self._journal("end", result="failed", why=str(fault))
            raise
        self._journal("end", result=ending)
        return ending, self._code(ending)

    def _code(self, ending: Ending) -> int:
        if ending == "done" and not self.guiding.runbook.blocked:
            return EXIT_UNTESTED if self.not_tested else EXIT_PASSED
        return _CODES.get(ending, EXIT_FAILED)

    # -- the course -------------------------------------------------------------------------------

    @property
    def _steps(self) -> Sequence[Step]:
        return self.guiding.runbook.steps

    def _course(self) -> Course:
        return standing(self._steps, self.guiding.runbook.laptop_start, self.done)

    def _begin(self) -> None:
        story = self.guiding.story
        if story is None:
            self._journal("start", **self.guiding.start)
        else:
            self._journal("resume")
            self.done |= story.done
            for record in story.records:
                if record["record"] == "step":
                    self._told.add(record["n"])
                    if (marks := marks_of(record)) is not None:
                        self.eyes.seen[str(record.get("device"))] = marks
        course = self._course()
        if course.connect is not None and course.at < len(self._steps):
            self.console.step(course.connect.n, again=True)
            self._ask("Enter when it is so")
        if course.laptop:
            self._laptop(course.laptop)
        for device in dict.fromkeys(s.device for s in self._steps if isinstance(s, SetDevice)):
            self._look_up_again(device, course)

    def _look_up_again(self, device: str, course: Course) -> None:
        """Opens the steps of a device that is not where the journal says."""
        change = last_change(self._steps, self.done, device)
        if change is None or not self._attached(device, course):
            return
        move = self.guiding.moves[change.n]
        meaning = before_change(self.eyes.look(move, old=True))
        if meaning.kind == "ready" and not move.same:
            self.console.say(f"{device} is at {move.old.address} again: {meaning.seen}")
            self._reopen(reopened(self._steps, self.done, device), device)

    def _attached(self, device: str, course: Course) -> bool:
        """Whether a device is attached now, as far as the runbook knows."""
        if course.connect is None:
            return self.guiding.runbook.setting != "one-at-a-time"
        return course.connected in {None, device}

    def _reopen(self, left: set[int], device: str) -> None:
        self._journal("reopen", numbers=sorted(self.done - left), device=device)
        self.done = left

    def _go(self, step: Step) -> None:
        self.waiting.check()
        self.console.step(step.n)
        if isinstance(step, SetDevice):
            self._change(step)
        elif isinstance(step, Confirm):
            self._confirm(step)
        else:
            if isinstance(step, SetLaptop):
                self._laptop(step.addresses)
            elif isinstance(step, Connect):
                # With `auto` the look before the change that follows waits for the device.
                self._ask("Enter when it is so")
            self._finish(step)

    def _finish(self, step: Step, meaning: Assessment | None = None, result: str = "done") -> None:
        fields: dict[str, Any] = {"n": step.n, "action": step.action, "result": result}
        if not isinstance(step, SetLaptop):
            fields["device"] = step.device
        if meaning is not None:
            fields |= told(meaning)
        self._journal("step", **fields)
        if result == "done":
            self.done.add(step.n)

    def _journal(self, record: str, **fields: Any) -> None:
        self.journal.add(record, at=timestamp(self.eyes.world.clocks.now()), **fields)

    def _ask(self, question: str) -> None:
        if not self.guiding.auto:
            self.waiting.ask(question)

    # -- steps ------------------------------------------------------------------------------------

    def _laptop(self, addresses: Sequence[Interface]) -> None:
        if self.hands is not None:
            self.hands.hold(addresses)
        else:
            wait_s = self.guiding.wait_s if self.guiding.auto else None
            held = self.waiting.until_held(
                lambda: [str(a) for a in lacking(addresses, self.eyes.world.laptop)],
                wait_s,
                lambda: link_lost(self.eyes.interface, self.eyes.world.laptop),
            )
            if not held:
                raise Stopped("failed")
        self.console.say(
            f"this laptop holds {', '.join(map(str, addresses)) or 'no address for it'}"
        )

    def _change(self, step: SetDevice) -> None:
        move = self.guiding.moves[step.n]
        before = self._judged(step, lambda: self._before(step, move), looks=1)
        if before.marks is not None and before.marks:
            self.eyes.seen[step.device] = before.marks
        self.console.tell(before)
        if before.kind != "already":
            self._told.add(step.n)
            self._finish(step, before, "told")
            if self.guiding.auto:
                self._await_change(step, move)
            self._ask("make this change at the device and save it; Enter when it is done")
        self._finish(step, before)

    def _before(self, step: SetDevice, move: Move) -> Assessment:
        meaning = before_change(self.eyes.look(move, old=True))
        if step.n in self._told and meaning.kind in {"not-there", "laptop", "unseen"}:
            # It was told before the guide was interrupted: the confirmation is to judge it.
            note = "it has left its old address: the change was told before"
            return replace(meaning, kind="ready", ok=True, means="", do="", notes=(note,))
        return meaning

    def _await_change(self, step: SetDevice, move: Move) -> None:
        """Returns when the device has left its old address, or is seen at the new one."""
        clocks = self.eyes.world.clocks
        started_s, gone = clocks.monotonic_s(), 0
        while gone < STEADY:
            begun_s = clocks.monotonic_s()
            sight = self.eyes.look(move, old=True)
            doing = during_change(sight, move.old)
            if doing == "unseen":
                self.waiting.ask("that cannot be seen from here: Enter when it is done")
            if doing in {"changed", "unseen"}:
                return
            gone = gone + 1 if doing == "left" else 0
            meaning = after_change(sight)
            gone_s = clocks.monotonic_s() - started_s
            if gone_s >= self.guiding.wait_s:
                self._finish(step, meaning, "failed")
                self.console.tell(meaning)
                raise Stopped("failed")
            self.console.watch(f"not changed yet; {meaning.seen}", gone_s, self.guiding.wait_s)
            self.waiting.pause_until(begun_s + EVERY_S)

    def _confirm(self, step: Confirm, *, once: bool = False) -> None:
        move, silent = self.guiding.moves[step.n], step.silent is not None

        def look() -> Assessment:
            nonlocal once
            sight = self.eyes.look(move, old=silent, once=once)
            once = once or sight.new.answer.somebody
            return after_change(sight)

        meaning = self._judged(step, look, STEADY)
        self.not_tested += [f"{step.device}: {gap}" for gap in meaning.not_tested]
        if meaning.marks is not None and meaning.marks:
            self.eyes.seen[step.device] = meaning.marks
        self.console.tell(meaning)
        self._finish(step, meaning)

    def _judged(
        self, step: SetDevice | Confirm, look: Callable[[], Assessment], looks: int
    ) -> Assessment:
        """What is seen once it is right; a person may mend it and look again.

        Raises Stopped where it is not right, and nobody looks again.
        """
        patience_s = self.guiding.boot_s[step.device]
        awaited = self.guiding.auto and isinstance(step, SetDevice)
        if awaited:  # a person has to plug it in
            patience_s = max(patience_s, self.guiding.wait_s)
        while True:
            meaning = self.waiting.poll(look, patience_s, looks, hasty=not awaited)
            if meaning.ok:
                return meaning
            self._finish(step, meaning, "failed")
            self.console.tell(meaning)
            if meaning.kind in {"neither", "not-there"}:
                device = self.guiding.moves[step.n].device
                self.guiding.find(device, self.eyes.seen.get(step.device))
            if self.guiding.auto:
                raise Stopped("failed")
            self.waiting.ask("Enter looks again, q ends here", at_end="failed")

    def _once_more(self) -> None:
        """Looks at every device that can be reached at the end: has it kept its address?"""
        course = self._course()
        confirms = {s.device: s for s in self._steps if isinstance(s, Confirm)}
        for device, step in confirms.items():
            if not self._attached(device, course):
                continue
            self.waiting.check()
            move = self.guiding.moves[step.n]
            sight = self.eyes.look(move, old=step.silent is not None, once=True)
            if after_change(sight).kind not in {"right", "laptop", "unseen"}:
                self.console.say(f"{device} once more, for it is not as it was:")
                self._reopen(self.done - {step.n}, device)
                self.console.step(step.n, again=True)
                self._confirm(step, once=True)
