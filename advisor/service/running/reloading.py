"""The route that reads packs and rules again."""

from __future__ import annotations

from litestar import post
from litestar.di import NamedDependency

from advisor.service.operations import NOT_ACCEPTABLE, Operations
from advisor.service.running.served import Reloaded, Served

__all__ = ["RELOADING"]


@post(
    "/v1/admin/reload",
    operation_id="reload",
    summary="Read packs and rules again",
    description="All packs and rules are read again from where the settings name them, in every process, all or "
    "nothing: when one file is faulty, everything stays as it was. No request is dropped: those under way end on the "
    "data they began with. Jobs do too; settings stay.",
    status_code=200,
    opt={"needs": "admin"},
)
async def reload(served: NamedDependency[Served]) -> Reloaded:
    """Reload everything."""
    return await served.reload()


RELOADING = Operations(
    routes=(reload,),
    types=(Reloaded,),
    done={"reload": "What holds now, beside what held before."},
    errors={
        "reload": {
            "400": "The request is malformed.", **NOT_ACCEPTABLE,
            "422": "A pack or rule file is faulty: the text has every finding with file and line.",
        }
    },
)
"""What an administrator may do while the service runs."""
