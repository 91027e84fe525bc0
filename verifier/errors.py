"""The tree of errors and the exit codes they end with.

    VerifierError            5  a fault of our own
    +-- UsageError           2  wrong command line, a filter matches nothing, no writing there
    +-- InputError           4  plan, profile, mapping, credentials, evidence missing or faulty
    +-- CannotMeasureError   3  we could not measure (permission, socket): never a device's fault
    +-- StoreError           6  the store of sweeps refuses, is full, locked or gone
    |   +-- NoStoreError     2  what is named is no store, and none can be made or written there
    +-- StoreBusyError       6  another sweep into the same store is running

"No answer" is an observation, not an error. Third-party exceptions are translated once, at the
edge.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from verifier.model.problem import Problem

EXIT_PASSED = 0
EXIT_FAILED = 1
EXIT_USAGE = 2
EXIT_UNTESTED = 3
EXIT_INPUT = 4
EXIT_OURS = 5
EXIT_NOT_DONE = 6
EXIT_INTERRUPTED = 130


class VerifierError(Exception):
    """Base of every error this program raises on purpose. `str()` is one message for a person."""

    exit_code = EXIT_OURS


class UsageError(VerifierError):
    """What was asked on the command line cannot be done."""

    exit_code = EXIT_USAGE


class InputError(VerifierError):
    """An input document is missing, unreadable or faulty.

    Attributes:
        problems: every fault found, in order of place; empty if the message says it all.
    """

    exit_code = EXIT_INPUT

    def __init__(self, message: str, problems: Iterable[Problem] = ()) -> None:
        super().__init__(message)
        self.problems = tuple(problems)


class CannotMeasureError(VerifierError):
    """We could not measure; says which permission or setting is missing and how to get it."""

    exit_code = EXIT_UNTESTED


class StoreError(VerifierError):
    """The store of sweeps cannot be used now; what was asked of it has not been done."""

    exit_code = EXIT_NOT_DONE


class NoStoreError(StoreError):
    """What the command line names is no store, and none can be made or written there."""

    exit_code = EXIT_USAGE


class StoreBusyError(VerifierError):
    """Another sweep into the same store is running: this one does not start."""

    exit_code = EXIT_NOT_DONE
