"""What was seen after a step of a runbook, what it means and what to do; where to go on.

`identity` says whether it is the right device, `before`, `during` and `after` judge a look at a
device that is changed, `course` where a runbook that was interrupted goes on. Nothing is asked from
here.
"""

from __future__ import annotations

from verifier.rules.guide.after import after_change
from verifier.rules.guide.before import Course, before_change, during_change, reopened, standing

__all__ = ["Course", "after_change", "before_change", "during_change", "reopened", "standing"]
