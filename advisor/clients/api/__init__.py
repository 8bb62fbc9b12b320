"""A typed client of the service, for scripts: ``Advisor`` waits for its answers, those of ``AsyncAdvisor`` are awaited.

    with Advisor("http://127.0.0.1:8345") as advisor:
        advice = advisor.advise({"me": {"character": "wenna"}, "them": {"character": "marl"}, "moment": {...}})
        print(advice.summary)
"""

from advisor.clients.api.async_client import AsyncAdvisor
from advisor.clients.api.calls import Retries
from advisor.clients.api.errors import (
    ApiError,
    BadQuestion,
    JobOverdue,
    NotFound,
    ProblemError,
    ServerFault,
    TooMany,
    Unavailable,
    Unreachable,
    UnreadableAnswer,
)
from advisor.clients.api.sse import Event
from advisor.clients.api.sync_client import Advisor

__all__ = [
    "Advisor", "ApiError", "AsyncAdvisor", "BadQuestion", "Event", "JobOverdue", "NotFound", "ProblemError", "Retries",
    "ServerFault", "TooMany", "Unavailable", "Unreachable", "UnreadableAnswer",
]
