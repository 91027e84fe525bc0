"""What the checks of a soak share: how it went, and what that does to a verdict."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.model.manual import Entered
from verifier.model.observations import SOAK, WEATHER, Observation
from verifier.model.plan import Carrier, EndName
from verifier.model.result import Finding, Verdict
from verifier.model.samples import Block, SoakCourse
from verifier.rules.compare.radio.read import moment as moment_of
from verifier.rules.compare.radio.weather import FROM_MHZ, NEAR_S, stated_at, weather_of
from verifier.rules.observations import of_kind
from verifier.rules.soak.tally import EchoFigures, Gap, Soaked, soaked, words

UNTIL_THEN = "; until then: "
"""Before what a soak that was cut short had measured."""
NO_SAMPLES = "the device answered no sample by SNMP"
_MANY = 6


@dataclass(frozen=True, slots=True)
class Soaking:
    """A soak: the observation of how it went, what its samples came to, and rain meanwhile."""

    noted: Observation[SoakCourse]
    course: SoakCourse
    came_to: Soaked
    rain: tuple[Observation[Entered], ...] = ()

    @property
    def cut_short(self) -> str:
        """Why it did not, in words; empty where it did."""
        how = {
            "complete": "",
            "interrupted": "a person ended it",
            "unfinished": "the program was ended from outside, or could write no more",
            "not-measured": self.noted.raw or "nothing could be measured",
        }[self.course.state]
        if not how:
            return ""
        lasted = words(self.course.lasted_s)
        return f"the soak lasted {lasted} of {words(self.course.asked_s)}: {how}"

    def settled(self, verdict: Verdict, reason: str) -> tuple[Verdict, str]:
        """A soak that was cut short can fail, but it cannot pass."""
        if verdict == "fail" or self.course.complete:
            return verdict, reason
        return "not-tested", f"{self.cut_short}{UNTIL_THEN}{reason}"

    def rain_at(self, carrier: Carrier, end: EndName) -> Observation[Entered] | None:
        """Rain that somebody at either end of a carrier recorded during the soak.

        None where there was none, and below 5 GHz, where it takes nothing.
        """
        far = carrier.b if end == "a" else carrier.a
        if far.tx_mhz is not None and far.tx_mhz < FROM_MHZ:
            return None
        names = {carrier.a.device, carrier.b.device}
        return next((o for o in self.rain if o.subject.name in names), None)

    def gaps_of(self, name: str) -> tuple[Gap, ...]:
        """The gaps that concern one target."""
        return tuple(g for g in self.came_to.gaps if name in g.targets)


def soaking(
    observations: Sequence[Observation[object]], samples: Iterable[Block]
) -> Soaking | None:
    """The soak of a run; None where there was none. Goes through the samples once."""
    noted = next((o for o in of_kind(observations, SOAK) if o.value is not None), None)
    if noted is None or noted.value is None:
        return None
    rain = tuple(_rain(noted, noted.value, observations))
    return Soaking(noted, noted.value, soaked(samples), rain)


def _rain(
    noted: Observation[SoakCourse], course: SoakCourse, observations: Sequence[Observation[object]]
) -> Iterator[Observation[Entered]]:
    """Rain stated for a moment of the soak, or up to 30 minutes away from it."""
    end = moment_of(noted.at)
    if end is None:
        return
    begin = end - dt.timedelta(seconds=course.lasted_s + NEAR_S)
    for said in of_kind(observations, WEATHER):
        if said.value is None or "rain" not in weather_of(said.value.value).kinds:
            continue
        at = stated_at(said)
        if at is not None and begin <= at <= end + dt.timedelta(seconds=NEAR_S):
            yield said


def together(figures: Sequence[EchoFigures], per_size: str) -> str:
    """The figures of each size in words, where there are several."""
    if len(figures) < 2:  # noqa: PLR2004
        return ""
    return "; ".join(per_size.format(f=f, bytes=f.target.bytes) for f in figures)


def moment(at_s: float) -> str:
    """When, in the words of a person who watched the clock: `0:03:12 after the begin`."""
    whole = int(at_s)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02} after the begin"


def moments(at_s: Sequence[float]) -> str:
    """Several of them; not all where they are many."""
    more = f" and {len(at_s) - _MANY} more" if len(at_s) > _MANY else ""
    return ", ".join(moment(a) for a in at_s[:_MANY]) + more


def rests_on(finding: Finding, soak: Soaking) -> Finding:
    """The finding with the soak among its evidence."""
    return dataclasses.replace(finding, evidence=(*finding.evidence, soak.noted.id))
