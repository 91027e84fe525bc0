"""The lab, built once; each test gets it whole and gives it back whole."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.lab.faults import Lab
from tests.lab.tool import HERE, Tool, Verified


@pytest.fixture(scope="session")
def built_lab() -> Iterator[Lab]:
    with Lab(HERE / "plan.yaml", HERE / "credentials.toml") as lab:
        yield lab


@pytest.fixture
def lab(built_lab: Lab) -> Iterator[Lab]:
    """The lab, right in everything; what the test breaks is mended after it."""
    try:
        yield built_lab
    finally:
        built_lab.restore()


@pytest.fixture(scope="session")
def tool(built_lab: Lab, tmp_path_factory: pytest.TempPathFactory) -> Tool:
    return Tool(built_lab, tmp_path_factory.mktemp("tool"))


@pytest.fixture(scope="session")
def right(tool: Tool) -> Verified:
    """What the tool says of the right lab, with its default settings."""
    return tool.verify()
