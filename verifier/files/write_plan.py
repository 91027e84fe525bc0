"""Writing a plan as a workbook, a YAML file or a folder of CSV files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from verifier.errors import UsageError
from verifier.files.disk import write_new
from verifier.files.read_plan import SAVE_AS
from verifier.model.plan import Plan


def write_plan(plan: Plan, path: Path, *, origins: bool = False) -> None:
    """Writes `plan` in the form that the name of `path` asks for; nothing is overwritten.

    `origins` puts beside each value where it was read; a folder has them in `Origins.txt`.

    `.xlsx`, `.yaml` and `.yml` are files; a name without ending, or a folder that is there, is a
    folder of CSV files. An empty plan becomes a form to fill in. What is read back is equal.

    Raises:
        UsageError: something is there already, the place cannot be written, or the plan holds what
            the form cannot carry.
    """
    form = _form(path)
    if form is None:
        _write_folder(plan, path, origins=origins)
        return
    if path.exists() or path.is_symlink():  # before the work of making it
        raise UsageError(f"{path} is there already: nothing is overwritten, name a new file")
    write_new(path, form(plan, origins))


def _form(path: Path) -> Callable[[Plan, bool], bytes] | None:
    """What makes the content of a file; None for a folder."""
    ending = path.suffix.lower()
    if ending in (".yaml", ".yml"):
        return _yaml
    if ending == ".xlsx":
        return _workbook
    if not ending or path.is_dir():
        return None
    hint = SAVE_AS.get(ending, "its ending is none of these")
    raise UsageError(f"{path}: a plan is a .yaml or .xlsx file or a folder of .csv files; {hint}")


def _yaml(plan: Plan, origins: bool) -> bytes:  # noqa: FBT001 - one of a table
    from verifier.files.yaml.write import yaml_text  # noqa: PLC0415

    return yaml_text(plan, origins=origins).encode()


def _workbook(plan: Plan, origins: bool) -> bytes:  # noqa: FBT001 - one of a table
    from verifier.files.sheets.workbook_write import workbook  # noqa: PLC0415

    try:
        return workbook(plan, origins=origins)
    except OSError as fault:  # sheets are made in temporary files
        raise UsageError(f"a workbook cannot be written: {fault.strerror}") from fault


def _write_folder(plan: Plan, folder: Path, *, origins: bool) -> None:
    """Writes all files of a folder, or none."""
    from verifier.files.sheets.write import csv_files  # noqa: PLC0415

    files = csv_files(plan, origins=origins)
    try:
        if folder.exists() and not folder.is_dir():
            raise UsageError(f"{folder} is there already and is no folder: name a new one")
        folder.mkdir(parents=True, exist_ok=True)
        names = {name.lower() for name in files}
        there = [p for p in folder.iterdir() if p.suffix == ".csv" or p.name.lower() in names]
    except OSError as fault:
        raise UsageError(f"{folder} cannot be written: {fault.strerror}") from fault
    if there:
        raise UsageError(
            f"{min(there)} is there already: nothing is overwritten, name a new folder"
        )
    done: list[Path] = []
    try:
        for name, data in files.items():
            write_new(folder / name, data)
            done.append(folder / name)
    except UsageError:
        for path in done:
            path.unlink(missing_ok=True)
        raise
