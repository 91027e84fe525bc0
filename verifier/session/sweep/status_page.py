"""The status page of the operations desk: a file in a folder, always whole, the old or the new."""

from __future__ import annotations

from pathlib import Path

from verifier.files.disk import replace
from verifier.model.health import SweepReport
from verifier.model.plan import Plan
from verifier.model.status import CHANGES_S, MOST_CHANGES
from verifier.report.status.page import page
from verifier.rules.status import status
from verifier.store.recent import recent
from verifier.store.store import Store

NAME = "index.html"
"""What a web server shows of a folder."""
_MODE = 0o644
"""Whoever looks at the page is somebody else."""
_FOLDER_MODE = 0o755


def prepare(folder: Path) -> Path:
    """The page's path in `folder`, which is made where it is missing. Raises OSError."""
    if not folder.is_dir():
        folder.mkdir()
        folder.chmod(_FOLDER_MODE)
    return folder / NAME


def write(  # noqa: PLR0913
    path: Path, store: Store, plan: Plan, done: SweepReport, *, every_s: float | None, confirm: int
) -> None:
    """Draws a stored sweep. Raises OSError, and StoreError where the last day cannot be read."""
    now_s = done.sweep.started_s
    most = MOST_CHANGES + len(done.changes)
    past = store.look(lambda connection: recent(connection, now_s - CHANGES_S, now_s, most))
    drawn = page(status(plan, done, past, every_s=every_s, confirm=confirm))
    replace(path, drawn.encode("utf-8", "backslashreplace"), mode=_MODE)
