"""Asks one device how it is: identity, what health reads of it, planned ports and their errors."""

from __future__ import annotations

import dataclasses

from verifier.model import mib
from verifier.model.observations import NO_ROWS
from verifier.probes.snmp.walk import REPETITIONS
from verifier.rules import observations
from verifier.rules.health import HEALTH_READINGS
from verifier.session.ask.questions import FAILED, MOST_OBJECTS, OIDS, PORT_COLUMNS, Questions
from verifier.session.ask.readings import MAX_INTERFACES

_ERROR_COLUMNS = ("ifInErrors", "ifOutErrors")
_IDENTITY = ("sysName", "sysUpTime")


class HealthPoll(Questions):
    """What a sweep asks one device, in as few requests as it can be.

    Names of ports come first, so that identity and ports are one question: most devices are asked
    twice. Where that does not work, identity decides whether the device answers at all.
    """

    async def _ask(self) -> None:
        names: dict[str, dict[str, str]] = {}
        named_first = bool(self._device.ports) and self._target.entry.version != "1"
        rows = await self._by_first_names(names) if named_first else []
        in_vain = named_first and not names  # that was a question too
        columns = [*self._planned_columns(), *_ERROR_COLUMNS]
        with_identity = max(1, MOST_OBJECTS // len(columns))
        objects = [f"{OIDS[c]}.{i}" for i in rows[:with_identity] for c in columns]
        identity = [mib.SYSTEM[name] for name in _IDENTITY]
        if not await self._answers([*identity, *objects], again=not in_vain):
            return
        named = self._profile.named_readings()
        await self._readings({n: r for n, r in named.items() if r.field in HEALTH_READINGS})
        if rows:
            await self._rows(columns, rows[with_identity:])
        elif self._device.ports:
            await self._rows(columns, await self._by_all_names(names))

    async def _by_first_names(self, names: dict[str, dict[str, str]]) -> list[str]:
        """Rows of the planned ports; none where ifName does not name them all at once."""
        column = OIDS["ifName"]
        table = await self._client.walk(
            dataclasses.replace(self._target, retries=0),
            [column],
            max_rows=MAX_INTERFACES,
            deadline_s=self._target.timeout_s,
            repetitions=min(len(self._device.ports) + 2, REPETITIONS),
        )
        if table.outcome != "answered" or not table.complete:
            return []
        for row in table.rows.values():
            self._note(mib.IF_NAME, row[column], None)
        names["ifName"] = {i: row[column].text for i, row in table.rows.items()}
        return self._matched(names)

    async def _by_all_names(self, names: dict[str, dict[str, str]]) -> list[str]:
        """Rows of the planned ports, by as few columns of names as it needs."""
        for column in observations.NAME_COLUMNS:
            if column in names:
                continue
            rows = await self._walk(
                {column: OIDS[column]}, MAX_INTERFACES, at_once=len(self._device.ports) + 2
            )
            names[column] = {i: row[column].text for i, row in rows.items()}
            why = self._record.seen[-1].raw or ""
            lost = not rows and why != NO_ROWS and not why.startswith(FAILED)
            if lost or self._matched(names):
                break
        return sorted(
            {i for p in self._device.ports for i in observations.rows_of_port(names, p.name)}
        )

    def _matched(self, names: dict[str, dict[str, str]]) -> list[str]:
        """Rows of the planned ports where each has one; else none."""
        found = [observations.rows_of_port(names, port.name) for port in self._device.ports]
        return sorted({i for rows in found for i in rows}) if all(found) else []

    def _planned_columns(self) -> list[str]:
        """What tells the values that the plan has of any port."""
        planned = (
            field
            for field in PORT_COLUMNS
            if any(getattr(port, field) is not None for port in self._device.ports)
        )
        return [column for field in planned for column in PORT_COLUMNS[field]]
