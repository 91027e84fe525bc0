"""Tests of this folder may hold what the rules say: `tests/said.py`."""

from __future__ import annotations

import pytest

from tests.said import held

words = pytest.fixture(held)
