"""Reading a plan, whatever it is kept in."""

from __future__ import annotations

import gc
import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.errors import InputError, UsageError
from verifier.files.disk import read_bytes
from verifier.files.faults import Faults
from verifier.files.plan.to_model import to_plan
from verifier.files.plan.tree import Mapping
from verifier.model.plan import Plan
from verifier.model.problem import Problem

if TYPE_CHECKING:
    from verifier.model.ledger import Ledger

SAVE_AS = {
    ".xls": "save it as .xlsx",
    ".xlsb": "save it as .xlsx",
    ".ods": "save it as .xlsx",
    ".csv": "name the folder that holds the CSV files, or say by --mapping what the columns are",
    ".json": "save it as .yaml: JSON is YAML",
}


def read_plan(path: Path, mapping: Path | None = None) -> tuple[Plan, tuple[Problem, ...]]:
    """The plan at `path`, and every fault of reading it in order of place.

    A value with a fault is left out of the plan, and so is an entry without its name or address.
    `mapping` says what their own columns mean.

    Raises:
        InputError: nothing can be made of the file or of the mapping; `problems` holds what was
            found up to there.
        UsageError: a mapping is given for a file that has no columns.
    """
    if mapping is not None:
        return read_foreign(path, mapping)[:2]
    faults = Faults()
    with _collector_paused():
        if path.is_dir():
            from verifier.files.read_tables import read_folder  # noqa: PLC0415

            return to_plan(read_folder(path, faults), faults, ""), faults.problems()
        read = _reader(path)
        data = read_bytes(path)
        plan = to_plan(read(data, path, faults), faults, hashlib.sha256(data).hexdigest())
        return plan, faults.problems()


def read_foreign(path: Path, mapping: Path) -> tuple[Plan, tuple[Problem, ...], Ledger]:
    """As `read_plan`, of somebody's own sheet; and what became of each of its cells."""
    from verifier.files.mapping.account import Accounts  # noqa: PLC0415
    from verifier.files.mapping.apply import Foreign  # noqa: PLC0415
    from verifier.files.mapping.read_mapping import read_mapping  # noqa: PLC0415
    from verifier.files.read_tables import read_foreign_pages  # noqa: PLC0415
    from verifier.files.sheets.open_pages import pages_of  # noqa: PLC0415

    if path.suffix.lower() in (".yaml", ".yml"):
        raise UsageError(f"{path}: a mapping is for workbooks and CSV files, not for YAML")
    faults, accounts = Faults(), Accounts()
    said = read_mapping(mapping)
    data = b"" if path.is_dir() else read_bytes(path)
    with _collector_paused():
        pages = pages_of(
            path, values_only=said.values_only, encoding=said.encoding, data=data or None
        )
        tree = read_foreign_pages(pages, Foreign(said, accounts), path, faults)
        plan = to_plan(tree, faults, hashlib.sha256(data).hexdigest() if data else "")
    problems = faults.problems()
    if said.unsure:  # what a line that is not settled would give is not missing yet
        problems = tuple(p for p in problems if p.rule != "missing-field")
    return plan, problems, accounts.ledger(page.look() for page in pages)


def example_plan() -> Plan:
    """The invented network that comes with the program."""
    with as_file(files("verifier.files") / "example.yaml") as path:
        return read_plan(path)[0]


@contextmanager
def _collector_paused() -> Iterator[None]:
    """No search for cycles while a large tree without any grows: it costs a quarter of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _reader(path: Path) -> Callable[[bytes, Path, Faults], Mapping]:
    """The reader for a kind of file; its libraries are loaded only now."""
    ending = path.suffix.lower()
    if ending in (".yaml", ".yml"):
        from verifier.files.yaml.read import read_yaml  # noqa: PLC0415

        return read_yaml
    if ending in (".xlsx", ".xlsm"):
        from verifier.files.read_tables import read_workbook  # noqa: PLC0415

        return read_workbook
    known = "a plan is a .yaml or .xlsx file or a folder of .csv files"
    if not path.exists():
        raise InputError(f"{path}: there is no such file; {known}")
    hint = SAVE_AS.get(ending, "its ending is none of these")
    raise InputError(f"{path}: {known}; {hint}")
