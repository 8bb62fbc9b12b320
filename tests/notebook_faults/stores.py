"""The stores that tests of the notebook run on: SQLite, and PostgreSQL when a server is named."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from advisor.notebook import Notebook

SERVER = os.environ.get("ADVISOR_TEST_POSTGRES")
STORES = ["sqlite", *(["postgresql"] if SERVER else [])]


@pytest.fixture(params=STORES)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of an empty database."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'new folder' / 'notebook.sqlite'}"
        return
    server = make_url(str(SERVER)).set(drivername="postgresql+psycopg")
    name = f"notebook_{uuid.uuid4().hex}"
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield server.set(database=name).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


@pytest.fixture
def notebook(address: str) -> Iterator[Notebook]:
    """An empty notebook."""
    with Notebook(address) as made:
        yield made
