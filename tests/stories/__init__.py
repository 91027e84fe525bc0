"""Stories of each kind, by name: each takes a `random.Random` and raises where something is off."""

import random
from collections.abc import Callable

from tests.stories.find import lost
from tests.stories.guide import led
from tests.stories.powercycle import restarted
from tests.stories.sweeps import year

KINDS: dict[str, Callable[[random.Random], None]] = {
    "guide": led,
    "find": lost,
    "powercycle": restarted,
    "sweeps": year,
}
