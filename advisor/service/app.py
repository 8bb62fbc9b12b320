"""The HTTP application: routes under ``/v1``, every error a problem."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import PackageNotFoundError, version
from typing import Annotated, Any, Literal

from litestar import Litestar, Request, Response, get, post
from litestar.di import NamedDependency, Provide
from litestar.openapi.config import OpenAPIConfig
from litestar.openapi.datastructures import ResponseSpec
from litestar.params import FromPath, QueryParameter
from msgspec import Meta

from advisor.advice import Advice
from advisor.errors import AdvisorError, Unanswerable, did_you_mean
from advisor.library import Library
from advisor.pack.model import Character
from advisor.service.contract import contract
from advisor.service.moves import Filter, pick
from advisor.service.problems import handle
from advisor.service.settings import Settings
from advisor.service.wire import (
    CharacterPage,
    Health,
    MovePage,
    PackInfo,
    PackPage,
    character_info,
    move_info,
    pack_info,
)
from advisor.service.work import Desk, Pool

__all__ = ["create_app", "package_version", "the_character"]


def package_version() -> str:
    """The version of the installed package."""
    try:
        return version("situation-advisor")
    except PackageNotFoundError:
        return "0+checkout"


@post(
    "/v1/advice",
    operation_id="advise",
    summary="Ranked responses to a situation",
    description="Submit the state of the game; get the recommended responses in order, each with its proof.",
    status_code=200,
    responses={200: ResponseSpec(data_container=Advice, description="Ranked responses.", generate_examples=False)},
)
async def advise(request: Request[Any, Any, Any], desk: NamedDependency[Desk]) -> Response[bytes]:
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind != "application/json":
        raise AdvisorError(
            "media-type-unsupported", f"the body is `{kind or 'of no stated type'}`", help="send `application/json`"
        )
    answer = await desk.ask(await request.body())
    return Response(answer.body, status_code=answer.status, media_type=answer.media_type)


@get("/v1/packs", operation_id="listPacks", summary="The loaded packs", sync_to_thread=False)
def list_packs(library: NamedDependency[Library]) -> PackPage:
    return PackPage(packs=[pack_info(s.pack, k == library.default) for k, s in library.shelves.items()])


@get("/v1/packs/{pack:str}", operation_id="getPack", summary="One pack", sync_to_thread=False)
def get_pack(library: NamedDependency[Library], pack: FromPath[str]) -> PackInfo:
    return pack_info(library.shelf(pack, "").pack, pack == library.default)


@get(
    "/v1/packs/{pack:str}/characters",
    operation_id="listCharacters",
    summary="The characters of a pack",
    sync_to_thread=False,
)
def list_characters(library: NamedDependency[Library], pack: FromPath[str]) -> CharacterPage:
    found = library.shelf(pack, "").pack
    return CharacterPage(pack=found.id, characters=[character_info(c) for c in found.characters.values()])


Small = Annotated[int, Meta(ge=-200, le=1000)]
Amount = Annotated[float, Meta(ge=0, le=100_000)]
Word = Annotated[str, Meta(min_length=1, max_length=80)]


@get(
    "/v1/packs/{pack:str}/characters/{character:str}/moves",
    operation_id="listMoves",
    summary="The moves of a character, filtered and sorted by property",
    description="A move whose property is unknown never meets a bound on it and comes last in any order.",
    sync_to_thread=False,
)
def list_moves(
    library: NamedDependency[Library],
    pack: FromPath[str],
    character: FromPath[str],
    q: Annotated[Word | None, QueryParameter(description="Text in id, name or input.")] = None,
    kind: Annotated[Literal["attack", "parry", "movement", "guard"] | None, QueryParameter()] = None,
    level: Annotated[Word | None, QueryParameter(description="A hit level of the pack.")] = None,
    tag: Annotated[Word | None, QueryParameter(description="A tag of the pack.")] = None,
    first_active_max: Annotated[Small | None, QueryParameter(description="Frames.")] = None,
    on_block_min: Annotated[Small | None, QueryParameter(description="Frames.")] = None,
    on_block_max: Annotated[Small | None, QueryParameter(description="Frames.")] = None,
    damage_min: Annotated[Amount | None, QueryParameter(description="Points.")] = None,
    reach_min: Annotated[Amount | None, QueryParameter(description="The pack's distance unit.")] = None,
    unknown: Annotated[Word | None, QueryParameter(description="Only moves of which this property is unknown.")] = None,
    sort: Annotated[Word | None, QueryParameter(description="A property; `-` in front: largest first.")] = None,
    limit: Annotated[Annotated[int, Meta(ge=1, le=400)], QueryParameter()] = 100,
    offset: Annotated[Annotated[int, Meta(ge=0, le=10_000)], QueryParameter()] = 0,
) -> MovePage:
    found = library.shelf(pack, "").pack
    fighter = the_character(library, pack, character)
    wanted = Filter(
        q=q, kind=kind, level=level, tag=tag, first_active_max=first_active_max, on_block_min=on_block_min,
        on_block_max=on_block_max, damage_min=damage_min, reach_min=reach_min, unknown=unknown, sort=sort,
    )
    kept = pick(found, [move_info(m) for m in fighter.moves.values()], wanted)
    return MovePage(
        pack=found.id, character=fighter.id, total=len(kept), moves=kept[offset : offset + limit]
    )


def the_character(library: Library, pack: str, character: str) -> Character:
    found = library.shelf(pack, "").pack
    fighter = found.characters.get(character)
    if fighter is None:
        raise Unanswerable(
            "character-unknown",
            f"pack `{found.id}` has no character `{character}`",
            help=did_you_mean(character, found.characters) or f"it has {', '.join(found.characters)}",
        )
    return fighter


@get("/v1/health/live", operation_id="live", summary="The process is alive", sync_to_thread=False)
def live() -> Health:
    return Health(status="alive", version=package_version())


@get("/v1/openapi.json", include_in_schema=False, sync_to_thread=False)
def openapi_document(request: Request[Any, Any, Any]) -> Response[dict[str, Any]]:
    return Response(contract(request.app), media_type="application/json")


ROUTES = (advise, list_packs, get_pack, list_characters, list_moves, live, openapi_document)


def create_app(settings: Settings, library: Library, *, desk: Desk | None = None) -> Litestar:
    """The application over a loaded library; ``desk`` weighs the questions."""
    chosen = desk or (Pool(library, settings) if settings.workers else Desk(library))

    @asynccontextmanager
    async def working(_: Litestar) -> AsyncIterator[None]:
        await chosen.start()
        try:
            yield
        finally:
            await chosen.stop()

    def the_library() -> Library:
        return library

    def the_desk() -> Desk:
        return chosen

    return Litestar(
        route_handlers=list(ROUTES),
        lifespan=[working],
        dependencies={
            "library": Provide(the_library, sync_to_thread=False),
            "desk": Provide(the_desk, sync_to_thread=False),
        },
        exception_handlers={Exception: handle},
        openapi_config=OpenAPIConfig(
            title="Situation advisor for fighting games", version="1", path="/v1/-", render_plugins=[]
        ),
        request_max_body_size=settings.max_body,
    )
