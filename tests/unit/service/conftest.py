"""One library of the demo pack and one client of the whole application for the tests of the service."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from litestar.testing import TestClient

from advisor.library import Library, load_library
from advisor.service.app import Service, create_app
from advisor.service.settings import Settings


@pytest.fixture(scope="session")
def library() -> Library:
    return load_library(engine="plain")


@pytest.fixture(scope="session")
def client(library: Library) -> Iterator[TestClient[Service]]:
    with TestClient(create_app(Settings(workers=0, engine="plain"), library)) as client:
        yield client
