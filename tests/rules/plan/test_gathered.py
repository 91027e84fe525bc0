"""Problems that repeat are one message, with their rows."""

from __future__ import annotations

import pytest

from verifier.model.problem import Origin, Problem, Subject
from verifier.rules.plan.gathered import gathered


def at(row: int, message: str, rule: str = "gateway-outside-subnet", name: str = "") -> Problem:
    origin = Origin("t.xlsx", row, "GW", "S", by_row=True)
    return Problem("error", rule, Subject("device", name or f"r{row}"), origin, message)


GATEWAY = "gateway 192.0.2.1 lies outside 198.18.20.0/24"


def test_one_wrong_gateway_in_all_rows_of_a_site_is_one_error() -> None:
    (found,) = gathered(at(row, GATEWAY) for row in range(3, 5003))
    assert found.message == f"{GATEWAY} (in rows 3 to 5002)"
    assert found.origin == at(3, "").origin


def test_two_wrong_gateways_are_two_errors() -> None:
    other = GATEWAY.replace("192.0.2.1", "192.0.2.9")
    found = gathered([at(3, GATEWAY), at(4, other), at(6, GATEWAY), at(9, GATEWAY)])
    assert [p.message for p in found] == [f"{GATEWAY} (in rows 3, 6, 9)", other]


@pytest.mark.parametrize(("rows", "count"), [(3, 3), (4, 1), (400, 1)])
def test_cells_that_cannot_be_read_are_told_one_by_one_while_they_are_few(
    rows: int, count: int
) -> None:
    found = gathered(
        at(r, f"'x{r}' is not a number", "unreadable-cell") for r in range(3, 3 + rows)
    )
    assert len(found) == count
    assert ("(in rows 3 to" in found[0].message) == (count == 1)


def test_the_name_of_the_device_makes_no_difference() -> None:
    found = gathered(at(r, f"r{r} has no profile", "profile-unknown") for r in (3, 4))
    assert [p.message for p in found] == ["r3 has no profile (in rows 3 to 4)"]


def test_what_stands_nowhere_or_in_another_column_stays() -> None:
    nowhere = Problem("warning", "x", Subject("network", ""), None, "m")
    place = Origin("t.xlsx", 3, "IP", "S", by_row=True)
    other = Problem("error", "x", Subject("network", ""), place, "m")
    assert len(gathered([nowhere, at(3, "m", "x"), other])) == 3
