"""Who makes a request, and what that allows."""

from __future__ import annotations

from typing import Any, Literal

from msgspec import Struct

from advisor.errors import AdvisorError

__all__ = ["ALL", "SCOPES", "AccessError", "Caller", "Scope", "caller_of", "challenge"]

Scope = Literal["read", "live", "notebook", "admin"]
SCOPES: tuple[Scope, ...] = ("read", "live", "notebook", "admin")
"""What a key may be good for; ``admin`` is good for everything."""
ALL = frozenset(SCOPES)
REALM = 'Bearer realm="advisor"'


class AccessError(AdvisorError):
    """A request that is refused for who makes it; ``headers`` belong to the answer."""

    def __init__(self, code: str, message: str, *, help: str = "", headers: dict[str, str] | None = None) -> None:
        super().__init__(code, message, help=help)
        self.headers = headers or {}


def challenge(error: str = "", **more: str) -> dict[str, str]:
    """``WWW-Authenticate`` (RFC 6750, 3): without ``error`` where nothing was given that could be wrong."""
    told = "".join(f', {name}="{value}"' for name, value in {"error": error, **more}.items() if value)
    return {"WWW-Authenticate": REALM + told}


class Caller(Struct, frozen=True, kw_only=True):
    """Who makes a request.

    ``kind`` is `key`, `open` (no key is needed), `webhook` (signed), or `anyone` (a key would be needed for more);
    ``id`` is the key's, ``address`` that of the other end; ``group`` is what its address counts as (an IPv6 network of
    64 bits), ``why`` says why more is not allowed.
    """

    kind: Literal["key", "open", "webhook", "anyone"]
    scopes: frozenset[str]
    address: str
    group: str
    id: str | None = None
    why: str = ""

    def may(self, needs: str) -> bool:
        """Whether the caller may do what needs a scope."""
        return needs == "none" or needs in self.scopes or "admin" in self.scopes

    @property
    def owner(self) -> str:
        """To whom belongs what the caller makes."""
        return f"key:{self.id}" if self.id else f"address:{self.group}"

    @property
    def sees(self) -> str | None:
        """Whose things the caller may see: his own; None: everybody's."""
        return None if "admin" in self.scopes else self.owner


NOBODY = Caller(kind="anyone", scopes=frozenset(), address="", group="")


def caller_of(scope: Any) -> Caller:
    """Who calls, from the scope of a request or socket; without the layer around it one who may do nothing."""
    found: Caller = scope.get("advisor.caller", NOBODY)
    return found
