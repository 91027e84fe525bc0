"""All findings of a soak: one pass over its samples, then each check in turn.

Findings rest on the blocks, which stand in the evidence's part `samples`; the observation `soak` of
the laptop says how it went. An unfinished journal is judged when it is read.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verifier.model.observation import Observation
from verifier.rules.compare.context import Context, Findings
from verifier.rules.compare.seen import laptop_of
from verifier.rules.compare.soak.context import local_soak, soaking
from verifier.rules.compare.soak.devices import devices
from verifier.rules.compare.soak.echoes import echoes, mtu
from verifier.rules.compare.soak.traffic import traffic
from verifier.rules.soak.tally import Block


def findings(
    contexts: Sequence[Context], observations: Sequence[Observation], samples: Iterable[Block]
) -> Findings:
    """Nothing where there was no soak.

    Raises KeyError, TypeError or ValueError where a block has not the form of one.
    """
    soak = soaking(observations, samples)
    if soak is None:
        return
    yield local_soak(soak)
    for context in contexts:
        yield from echoes(context, soak)
        yield from mtu(context, soak)
        yield from devices(context, soak)
    if contexts:
        noted = next((o for o in observations if o.what == "interfaces"), None)
        laptop = laptop_of(noted.value) if noted is not None else None
        yield from traffic(contexts[0].plan, soak, laptop)
