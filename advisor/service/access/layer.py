"""Around the routes: who calls, how often, from where, and what browsers are told; every connection comes by."""

from __future__ import annotations

from functools import partial
from typing import Any
from urllib.parse import unquote_plus

from advisor.errors import AdvisorError
from advisor.service.access.addresses import LOCAL, Address, Addresses, names_loopback
from advisor.service.access.caller import ALL, AccessError, Caller, challenge
from advisor.service.access.check import keys_needed
from advisor.service.access.known import KnownKeys
from advisor.service.access.origins import Origins
from advisor.service.access.protection import Protection
from advisor.service.access.rates import Limit, Rates, Taken, refused
from advisor.service.access.refusing import refuse_request, refuse_socket
from advisor.service.access.replays import Replays
from advisor.service.access.store import KeyStore
from advisor.service.settings import Settings

__all__ = ["WRONG_KEYS", "Access", "takes_key", "unlimited"]

Headers = list[tuple[bytes, bytes]]
Found = dict[bytes, list[bytes]]
WATCHED = frozenset({b"authorization", b"host", b"origin", b"x-forwarded-for", b"x-forwarded-host",
                     b"x-forwarded-proto", b"access-control-request-method"})  # fmt: skip
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
WRONG_KEYS = 60
"""Wrong keys that an address may send in a minute: each one may cost a look into the store."""
NONE: tuple[bytes, ...] = ()
READ = frozenset({"read"})
NO_KEY = "a key is needed"
NOT_HERE = "without a key the service is open to this machine only, called by a name of this machine"


class Access:
    """Who may do what. ``around(app)`` is the layer; one for each application."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.needed = keys_needed(settings)
        self.addresses = Addresses(settings.proxies)
        self.origins = Origins(settings.cors)
        self.keys = KnownKeys(KeyStore(settings.notebook))
        self.rates = Rates()
        self.secret = settings.webhook_secret
        self.refusals = 0
        """Requests refused since there were too many."""
        self._protection = Protection(shared=self.origins.any)
        self._wrong = Rates()
        self._redis = None
        if settings.redis:
            from advisor.service.access.redis_rates import RedisRates  # what is not asked for is not loaded

            self._redis = RedisRates(settings.redis, self.rates)
        self._replays = Replays(settings.redis)
        self._open_here = settings.access == "auto" and not self.needed

    def around(self, app: Any) -> Any:
        """The application with this layer around it."""

        async def guarded(scope: Any, receive: Any, send: Any) -> None:
            if scope["type"] == "http":
                await self._http(app, scope, receive, send)
            elif scope["type"] == "websocket":
                await self._socket(app, scope, receive, send)
            else:
                await app(scope, receive, send)

        return guarded

    async def close(self) -> None:
        """Let go of the store and of Redis."""
        await self.keys.close()
        await self._replays.close()
        if self._redis is not None:
            await self._redis.close()

    async def first(self, mark: bytes, stamp: int, now: float) -> bool:
        """Whether a signed body comes for the first time."""
        return await self._replays.first(mark, stamp, now)

    async def _http(self, app: Any, scope: Any, receive: Any, send: Any) -> None:
        found = _watched(scope)
        client = scope.get("client")
        where = self.addresses.of(client, found.get(b"x-forwarded-for", NONE))
        origin = found.get(b"origin", NONE)
        # Another answer is due for another origin, so it is told also where none is named.
        more = self.origins.headers(origin[0] if origin else None) if self.origins.any else []
        secure = self._secure(scope, found, client)

        async def answer(message: Any) -> None:
            if message["type"] == "http.response.start":
                there = message["headers"]
                message["headers"] = [*there, *self._protection.headers(there, secure=secure), *more]
            await send(message)

        if origin and scope["method"] == "OPTIONS" and b"access-control-request-method" in found \
                and self.origins.allows(origin[0]):  # fmt: skip
            more = self.origins.preflight(origin[0])
            await answer({"type": "http.response.start", "status": 204, "headers": []})
            await answer({"type": "http.response.body", "body": b""})
            return
        try:
            taken = await self._enter(scope, found, where)
            if taken is not None:
                more = [*more, *taken.headers]
                if not taken.allowed:
                    raise self._too_many(taken)
        except AdvisorError as error:
            await refuse_request(scope, answer, error)
            return
        await app(scope, receive, answer)

    async def _socket(self, app: Any, scope: Any, receive: Any, send: Any) -> None:
        found = _watched(scope)
        where = self.addresses.of(scope.get("client"), found.get(b"x-forwarded-for", NONE))
        more: Headers = []
        try:
            taken = await self._enter(scope, found, where)
            if taken is not None:
                more = taken.headers
                if not taken.allowed:
                    raise self._too_many(taken)
        except AdvisorError as error:
            await refuse_socket(scope, send, error, more)
            return
        await app(scope, receive, send)

    def _secure(self, scope: Any, found: Found, client: Any) -> bool:
        given = found.get(b"x-forwarded-proto")
        if given is None or not self.addresses.believed(client):
            return bool(scope.get("scheme") in ("https", "wss"))
        return given[-1].rpartition(b",")[2].strip().lower() == b"https"

    async def _enter(self, scope: Any, found: Found, where: Address) -> Taken | None:
        """Leave the caller in the scope; what counting came to, None where nothing is counted.

        Errors: ``AdvisorError`` for a wrong or misplaced key and for a page that may not call.
        """
        scope["advisor.gate"] = self
        text = _key_in(scope, found)
        if text is None:
            scope["advisor.caller"] = caller = self._keyless(scope, found, where)
            quota = 0 if where.local else self.settings.rate_address
            limit = Limit("address", caller.owner, quota)
        else:
            caller = await self._with_key(scope, text, where)
            scope["advisor.caller"] = caller
            limit = Limit("key", caller.owner, self.settings.rate if caller.id else 0)
        if not limit.quota or unlimited(scope["path"]):
            return None
        return self.rates.take(limit) if self._redis is None else await self._redis.take(limit)

    async def _with_key(self, scope: Any, text: str, where: Address) -> Caller:
        """Errors: ``AccessError`` ``key-invalid``, ``rate-exceeded``."""
        make = partial(Caller, address=where.shown, group=where.group)
        wrong = Limit("wrong-keys", where.group, WRONG_KEYS)
        if not self.keys.fresh(text) and not (looked := self._wrong.look(wrong)).allowed:
            raise self._too_many(looked)
        try:
            valid = await self.keys.find(text)
        except AccessError as error:
            if error.code == "keys-unavailable":
                # What needs no key needs no store either.
                scope["advisor.pending"] = error
                return make(kind="anyone", scopes=frozenset())
            if not where.local:
                self._wrong.take(wrong)
            raise
        return make(kind="key", scopes=valid.scopes, id=valid.id)

    def _keyless(self, scope: Any, found: Found, where: Address) -> Caller:
        """Errors: ``AccessError`` ``origin-refused``."""
        make = partial(Caller, address=where.shown, group=where.group)
        scopes = READ if self.settings.public_read == "yes" else frozenset()
        if self.needed:
            return make(kind="anyone", scopes=scopes, why=NO_KEY)
        hosts = found.get(b"host", NONE)
        believed = self.addresses.believed(scope.get("client"))
        if self._open_here and not (where.local and (where is LOCAL or all(map(names_loopback, hosts))) and (
                believed or b"x-forwarded-for" not in found)):  # fmt: skip
            # A proxy lets others in, and a page's name may have been pointed here; neither is this machine.
            return make(kind="anyone", scopes=scopes, why=NOT_HERE)
        origin = found.get(b"origin")
        if origin and believed:
            hosts = found.get(b"x-forwarded-host", hosts)
        if origin and scope.get("method") not in SAFE and self.origins.strange(origin[0], hosts[0] if hosts else b""):
            raise AccessError(
                "origin-refused", f"a page of `{origin[0][:200].decode('latin-1')}` may not do this without a key",
                help="name its origin in `ADVISOR_CORS`, or send a key", headers=challenge(),
            )  # fmt: skip
        return make(kind="open", scopes=ALL)

    def _too_many(self, taken: Taken) -> AccessError:
        self.refusals += 1
        return refused(taken)


def _watched(scope: Any) -> Found:
    """The headers that matter here, by name."""
    found: Found = {}
    for name, value in scope["headers"]:
        if name in WATCHED:
            found.setdefault(name, []).append(value)
    return found


def unlimited(path: str) -> bool:
    """Whether requests to the path are not counted."""
    return path.startswith("/v1/health/") or path == "/metrics"


def takes_key(path: str) -> bool:
    """Whether a key may stand in the address: of a stream, whose client in a browser can send no header."""
    return path.startswith("/v1/live/") and path.endswith(("/events", "/socket"))


def _key_in(scope: Any, found: Found) -> str | None:
    """The key that is given: in `Authorization`, and for streams, whose clients can send no header, as `key`.

    It is taken out of the address, so that nothing behind this can write it down. Errors: ``AccessError``.
    """
    given = found.get(b"authorization", NONE)
    keys = [value[6:].strip(b" ").decode("latin-1") for value in given if value[:7].lower() in (b"bearer ", b"bearer")]
    if takes_key(scope["path"]) and b"key=" in scope["query_string"]:
        parts = scope["query_string"].split(b"&")
        keys += [unquote_plus(part[4:].decode("latin-1")) for part in parts if part.startswith(b"key=")]
        scope["query_string"] = b"&".join(part for part in parts if not part.startswith(b"key="))
    if len(keys) > 1 or len(given) > 1:
        raise AccessError(
            "value-invalid", "more than one key is given", help="send one, as `Authorization: Bearer <key>`",
            headers=challenge("invalid_request"),
        )  # fmt: skip
    return keys[0] if keys else None
