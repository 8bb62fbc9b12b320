"""All operations of the service, group by group; the application and its document are made from this list."""

from __future__ import annotations

from advisor.service.asking.submitting import TASK_OPERATIONS
from advisor.service.jobs.routes import JOBS
from advisor.service.listing.routes import LISTS
from advisor.service.live.routes import LIVE
from advisor.service.notes.compare_routes import COMPARING
from advisor.service.notes.set_routes import SETS
from advisor.service.notes.trial_routes import TRIALS
from advisor.service.operations import Operations
from advisor.service.running.reloading import RELOADING
from advisor.service.seen.routes import HEALTH

__all__ = ["GIVEN", "GROUPS"]

GROUPS: tuple[Operations, ...] = (TASK_OPERATIONS, LISTS, JOBS, LIVE, HEALTH, RELOADING, TRIALS, SETS, COMPARING)

GIVEN = ("library", "desk", "jobs", "hub", "served", "readiness", "metrics", "notes")
"""Names of what the application hands to its routes."""
