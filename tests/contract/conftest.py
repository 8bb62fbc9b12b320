"""The application and a client of it for the tests of the contract."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from example_files import noted
from litestar.testing import TestClient

from advisor.library import Library, load_library
from advisor.service.app import Service, create_app

# Requests by the hundred are for `.ci/run`, which says how many: even finding them takes half a minute.
collect_ignore = [] if "FUZZ_EXAMPLES" in os.environ else ["test_contract_generated.py"]


@pytest.fixture(scope="session")
def library() -> Library:
    return load_library(engine="plain")


@pytest.fixture(scope="session")
def client(library: Library, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient[Service]]:
    settings = noted(f"sqlite:///{tmp_path_factory.mktemp('notebook')}/notebook.sqlite")
    with TestClient(create_app(settings, library)) as client:
        yield client
