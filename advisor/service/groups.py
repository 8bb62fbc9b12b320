"""All operations of the service, group by group; the application and its document are made from this list."""

from __future__ import annotations

from advisor.service.jobs.routes import JOBS
from advisor.service.operations import Operations
from advisor.service.routes import LISTS
from advisor.service.submitting import TASK_OPERATIONS

__all__ = ["GIVEN", "GROUPS"]

GROUPS: tuple[Operations, ...] = (TASK_OPERATIONS, LISTS, JOBS)

GIVEN = ("library", "desk", "jobs")
"""Names of what the application hands to its routes."""
