"""Runbooks of small cases worked out by hand: figures, order, what is blocked and why."""

from __future__ import annotations

from typing import Any

import pytest

from tests.rules.readdress.cases import planned
from tests.rules.readdress.replayer import judge
from tests.said import hear

F, A, B = "192.0.2", "198.18.20", "198.18.30"


def case(*moves: str, setting: str = "segment", many: bool = True, **more: Any) -> dict[str, Any]:
    """A case of moves `present[,gateway] > planned[,gateway] [via UPLINK]` of devices a, b, c, ..."""
    devices: dict[str, Any] = {}
    for name, move in zip("abcdefgh", moves, strict=False):
        text, _, uplink = move.partition(" via ")
        old, new = (part.strip().partition(",") for part in text.split(">"))
        devices[name] = {
            "present": old[0], "present_gateway": old[2] or None, "planned": new[0],
            "gateway": new[2] or None, "uplink": uplink.split(",") if uplink else [],
        }  # fmt: skip
    made = {"setting": setting, "many": many, "laptop": [], "laptop_gateway": None, "held": {}}
    return made | more | {"devices": devices}


def afar(*moves: str, **more: Any) -> dict[str, Any]:
    """A case from afar; each subnet's .1 is a router's unless told otherwise."""
    held = {f"{net}.1": "the gateway" for net in (F, A, B)} | {"203.0.113.1": "the gateway"}
    more = {"laptop": ["203.0.113.9/24"], "laptop_gateway": "203.0.113.1", "held": held} | more
    return case(*moves, setting="remote", **more)


SWAP = (f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.11/24")
RING = (f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.13/24", f"{A}.13/24 > {A}.11/24")
FACTORY = (f"{F}.20/24 > {A}.11/24", f"{F}.20/24 > {A}.12/24", f"{F}.21/24 > {A}.13/24")
FIGURES = [
    # name, case, device changes, connects, laptop changes
    ("one move", case(f"{F}.20/24 > {A}.11/24"), 1, 0, 1),
    ("one move, one address", case(f"{F}.20/24 > {A}.11/24", many=False), 1, 0, 2),
    ("laptop fits already", case(f"{F}.20/24 > {F}.21/24", laptop=[f"{F}.9/24"]), 1, 0, 0),
    ("swap", case(*SWAP), 3, 0, 1),
    ("swap on the bench", case(*SWAP, setting="one-at-a-time"), 2, 2, 1),
    ("ring of three", case(*RING), 4, 0, 1),
    ("ring of three on the bench", case(*RING, setting="one-at-a-time"), 3, 3, 1),
    ("shared factory addresses", case(*FACTORY, setting="one-at-a-time"), 3, 2, 1),
    ("the same, one address", case(*FACTORY, setting="one-at-a-time", many=False), 3, 2, 2),
    ("chain", case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.13/24"), 2, 0, 1),
    ("mask only", case(f"{A}.11/24 > {A}.11/25", many=False), 1, 0, 1),
    ("gateway only", case(f"{A}.11/24,{A}.1 > {A}.11/24,{A}.2"), 1, 0, 1),
    ("nothing to do", case(f"{A}.11/24 > {A}.11/24"), 0, 0, 0),
    ("/31", case("198.18.40.0/31 > 198.18.41.0/31", many=False), 1, 0, 2),
    ("swap between subnets, one address",
     case(f"{A}.11/24 > {B}.11/24", f"{B}.11/24 > {A}.11/24", many=False), 3, 0, 3),
    ("swap from afar", afar(f"{A}.11/24,{A}.1 > {A}.12/24,{A}.1", f"{A}.12/24,{A}.1 > {A}.11/24,{A}.1"), 3, 0, 0),
]  # fmt: skip


@pytest.mark.parametrize(
    ("made", "figures"), [(c, f) for _, c, *f in FIGURES], ids=[f[0] for f in FIGURES]
)
def test_figures(made: dict[str, Any], figures: list[int]) -> None:
    """As few changes as can be, each confirmed once, and proved."""
    runbook = planned(made)
    assert judge(made, runbook) == []
    assert [runbook[k] for k in ("device_changes", "connects", "laptop_changes")] == figures
    assert len(runbook["steps"]) == 2 * figures[0] + figures[1] + figures[2]
    assert (runbook["proved_best"], runbook["lower_bound"], runbook["blocked"]) == (True, None, [])


def changes(runbook: dict[str, Any]) -> list[str]:
    return [s["device"] for s in runbook["steps"] if s["action"] == "set-device"]


def test_independent_devices_go_in_plan_order() -> None:
    runbook = planned(case(*(f"{F}.{n}/24 > {A}.{n}/24" for n in (30, 20, 40))))
    assert changes(runbook) == ["a", "b", "c"]


def test_a_chain_starts_at_its_free_end() -> None:
    runbook = planned(case(f"{A}.11/24 > {A}.12/24", f"{A}.12/24 > {A}.13/24"))
    assert changes(runbook) == ["b", "a"]


def test_far_end_first() -> None:
    """Nobody's own way to the laptop is changed before itself."""
    moves = [f"{A}.{n}/24,{A}.1 > {B}.{n}/24,{B}.1" for n in (11, 12, 13)]
    runbook = planned(afar(moves[0], moves[1] + " via a", moves[2] + " via b"))
    assert changes(runbook) == ["c", "b", "a"]


def test_devices_of_a_ring_have_another_way() -> None:
    """Each of two has the other and the router as uplink: either may go first."""
    moves = [f"{A}.{n}/24,{A}.1 > {B}.{n}/24,{B}.1" for n in (11, 12, 13)]
    runbook = planned(afar(moves[0], moves[1] + " via a,c", moves[2] + " via a,b"))
    assert changes(runbook) == ["b", "c", "a"]


def test_a_gateway_that_is_a_device_goes_last() -> None:
    """Those behind it are moved, then it, and only then they can be confirmed."""
    made = afar(
        "203.0.113.1/24 > 203.0.113.2/24", f"{A}.11/24,{A}.1 > {A}.21/24,{A}.2", f"{A}.1/24,{A}.254 > {A}.2/24,{A}.254",
        laptop=["203.0.113.9/24"], laptop_gateway="203.0.113.254",
        held={"203.0.113.254": "the gateway", f"{A}.254": "the gateway"},
    )  # fmt: skip
    runbook = planned(made)
    assert judge(made, runbook) == []
    steps = [(s["action"], s["device"]) for s in runbook["steps"] if s["device"] != "a"]
    assert steps == [("set-device", "b"), ("set-device", "c"), ("confirm", "c"), ("confirm", "b")]


def test_a_temporary_address_is_a_free_one_of_the_plan() -> None:
    step = next(s for s in planned(case(*SWAP))["steps"] if s.get("temporary"))
    assert (step["device"], step["to"]) == ("a", f"{A}.253/24")


def test_nothing_is_silent_where_another_device_has_moved_in() -> None:
    """With one address the confirm comes late: the left address has its next owner by then."""
    made = case(f"{A}.11/24 > {B}.11/24", f"{A}.12/24 > {A}.11/24", many=False)
    confirms = {
        s["device"]: s["silent"] for s in planned(made)["steps"] if s["action"] == "confirm"
    }
    assert confirms == {"a": None, "b": f"{A}.12"}


def test_a_laptop_address_may_be_borrowed_from_a_device_that_is_not_attached() -> None:
    made = case(
        "198.18.40.1/30 > 198.18.41.1/30",
        "198.18.40.2/30 > 198.18.41.2/30",
        setting="one-at-a-time",
    )
    runbook = planned(made)
    assert judge(made, runbook) == []
    assert runbook["blocked"] == []


BLOCKED = [
    ("no room in a /30", case("198.18.40.1/30,198.18.40.2 > 198.18.41.1/24", held={"198.18.40.2": "gateway 198.18.40.2"}),
     {"a": ["no free address for the laptop in 198.18.40.0/30", "borrow 198.18.40.2 while gateway"]}),
    ("no room among devices", case("198.18.40.1/30 > 198.18.41.1/24", "198.18.40.2/30 > 198.18.40.2/30"),
     {"a": ["borrow 198.18.40.2 while b is detached", "--one-at-a-time"]}),
    ("a /32", case("198.18.40.1/32 > 198.18.41.1/24"), {"a": ["no second host"]}),
    ("held by something else", case(f"{F}.20/24 > {A}.1/24", held={f"{A}.1": "gateway x"}), {"a": ["held by gateway x"]}),
    ("gateway outside", case(f"{F}.20/24 > {A}.11/24,{B}.1", held={f"{B}.1": "g"}), {"a": ["lies outside 198.18.20.0/24"]}),
    ("behind a blocked one", case(f"{F}.20/24 > {A}.1/24", f"{F}.21/24 > {F}.20/24", held={f"{A}.1": "gateway x"}),
     {"a": ["gateway x"], "b": ["held by a", "move that one first"]}),
    ("no gateway from afar", afar(f"{A}.11/24 > {A}.12/24,{A}.1"), {"a": ["no gateway", "--segment"]}),
    ("alike from afar", afar(f"{F}.20/24,{F}.1 > {A}.12/24,{A}.1", f"{F}.20/24,{F}.1 > {A}.13/24,{A}.1"),
     {"a": ["--one-at-a-time"], "b": ["--one-at-a-time"]}),
    ("far end first against the addresses", afar(f"{A}.11/24,{A}.1 > {A}.13/24,{A}.1", f"{A}.12/24,{A}.1 > {A}.11/24,{A}.1 via a"),
     {"a": ["b must be moved first"], "b": ["held by a"]}),
]  # fmt: skip


@pytest.mark.usefixtures("words")
@pytest.mark.parametrize(
    ("made", "reasons"), [(c, w) for _, c, w in BLOCKED], ids=[b[0] for b in BLOCKED]
)
def test_blocked_names_the_reason_and_a_way_out(
    made: dict[str, Any], reasons: dict[str, list[str]]
) -> None:
    runbook = planned(made)
    assert judge(made, runbook) == []
    told = {b["device"]: b["reason"] for b in runbook["blocked"]}
    assert set(told) == set(reasons)
    assert all(word in told[device] for device, some in reasons.items() for word in some), told
    for reason in told.values():
        hear(reason)


def test_the_rest_goes_on_where_one_is_blocked() -> None:
    runbook = planned(
        case(f"{F}.20/24 > {A}.1/24", f"{F}.21/24 > {A}.12/24", held={f"{A}.1": "gateway x"})
    )
    assert ([b["device"] for b in runbook["blocked"]], changes(runbook)) == (["a"], ["b"])


def test_too_much_to_search_is_valid_and_says_so() -> None:
    """Forty devices across ten subnets, one laptop address: valid, with a bound that is not above it."""
    moves = [
        f"198.18.{n % 10}.{n + 1}/24 > 198.18.{(7 * n + 3) % 10}.{(n * 11) % 40 + 1}/24"
        for n in range(40)
    ]
    made = case()
    made["devices"] = {
        f"u{n}": {"present": m.split(" > ")[0], "present_gateway": None, "planned": m.split(" > ")[1], "gateway": None, "uplink": []}
        for n, m in enumerate(moves)
    }  # fmt: skip
    made["many"] = False
    runbook = planned(made)
    assert judge(made, runbook) == []
    if not runbook["proved_best"]:
        assert runbook["lower_bound"]["laptop_changes"] < runbook["laptop_changes"]
        assert runbook["lower_bound"]["device_changes"] == runbook["device_changes"]
