"""The routes of what is loaded: packs, characters, moves, the process. Errors are raised, and turned into problems
elsewhere."""

from __future__ import annotations

from typing import Any

from litestar import Request, Response, get
from litestar.di import NamedDependency
from litestar.params import FromPath

from advisor.library import Library
from advisor.service.asking.etags import HEADERS, NOT_MODIFIED, stated
from advisor.service.listing.move_form import MoveForm, move_form
from advisor.service.listing.moves import Filter, pick, read_filter
from advisor.service.listing.named import the_character, the_move, the_pack
from advisor.service.operations import FOUND_ERRORS, READ_ERRORS, Operations
from advisor.service.running.served import Served
from advisor.service.weighing.identity import package_version
from advisor.service.weighing.work import Desk
from advisor.service.wire import (
    CharacterForm,
    CharacterPage,
    Health,
    MovePage,
    PackInfo,
    PackPage,
    character_form,
    character_info,
    move_info,
    pack_info,
)

__all__ = ["LISTS", "PLACES"]

Asking = Request[Any, Any, Any]
READ = {"needs": "read"}


@get("/v1/packs", operation_id="listPacks", summary="The loaded packs", sync_to_thread=False, opt=READ)
def list_packs(
    request: Asking, library: NamedDependency[Library], served: NamedDependency[Served]
) -> Response[PackPage]:
    """All packs."""
    return stated(
        request, served,
        lambda: PackPage(packs=[pack_info(s.pack, k == library.default) for k, s in library.shelves.items()]),
    )  # fmt: skip


@get("/v1/packs/{pack:str}", operation_id="getPack", summary="One pack", sync_to_thread=False, opt=READ)
def get_pack(
    request: Asking, library: NamedDependency[Library], served: NamedDependency[Served], pack: FromPath[str]
) -> Response[PackInfo]:
    """One pack."""
    return stated(request, served, lambda: pack_info(the_pack(library, pack), pack == library.default))


@get(
    "/v1/packs/{pack:str}/characters",
    operation_id="listCharacters",
    summary="The characters of a pack",
    sync_to_thread=False,
    opt=READ,
)
def list_characters(
    request: Asking, library: NamedDependency[Library], served: NamedDependency[Served], pack: FromPath[str]
) -> Response[CharacterPage]:
    """All characters of a pack."""

    def make() -> CharacterPage:
        found = the_pack(library, pack)
        return CharacterPage(pack=found.id, characters=[character_info(c) for c in found.characters.values()])

    return stated(request, served, make)


@get(
    "/v1/packs/{pack:str}/characters/{character:str}",
    operation_id="getCharacter",
    summary="One character",
    sync_to_thread=False,
    opt=READ,
)
def get_character(
    request: Asking, library: NamedDependency[Library], served: NamedDependency[Served], pack: FromPath[str],
    character: FromPath[str],
) -> Response[CharacterForm]:
    """One character."""

    def make() -> CharacterForm:
        found = the_pack(library, pack)
        return character_form(found, the_character(found, character))

    return stated(request, served, make)


@get(
    "/v1/packs/{pack:str}/characters/{character:str}/moves",
    operation_id="listMoves",
    summary="The moves of a character, filtered and sorted by property",
    description="A move whose property is unknown never meets a bound on it and comes last in any order.",
    sync_to_thread=False,
    opt=READ,
)
def list_moves(
    request: Asking, library: NamedDependency[Library], served: NamedDependency[Served], pack: FromPath[str],
    character: FromPath[str],
) -> Response[MovePage]:
    """One page of the moves that meet the bounds of the query."""

    def make() -> MovePage:
        found = the_pack(library, pack)
        fighter = the_character(found, character)
        wanted = read_filter(request.query_params.multi_items())
        kept = pick(found, [move_info(m) for m in fighter.moves.values()], wanted)
        page = kept[wanted.offset : wanted.offset + wanted.limit]
        return MovePage(pack=found.id, character=fighter.id, total=len(kept), moves=page)

    return stated(request, served, make)


@get(
    "/v1/packs/{pack:str}/characters/{character:str}/moves/{move:str}",
    operation_id="getMove",
    summary="One move in full",
    description="A move of the character or a system option: every window, and how derived values were worked out.",
    sync_to_thread=False,
    opt=READ,
)
def get_move(
    request: Asking, library: NamedDependency[Library], served: NamedDependency[Served], pack: FromPath[str],
    character: FromPath[str], move: FromPath[str],
) -> Response[MoveForm]:
    """One move or system option."""

    def make() -> MoveForm:
        found = the_pack(library, pack)
        fighter = the_character(found, character)
        one = the_move(found, fighter, move)
        return move_form(one, pack=found.id, character=fighter.id, system=move not in fighter.moves)

    return stated(request, served, make)


@get(
    "/v1/health/live", operation_id="live", summary="The process is alive", sync_to_thread=False, opt={"needs": "none"}
)
def live(desk: NamedDependency[Desk]) -> Health:
    """Liveness, with what was lost on the way."""
    return Health(
        status="alive", version=package_version(), worker_losses=desk.losses, plain_answers=desk.plain_answers
    )


_STATED = ("listPacks", "getPack", "listCharacters", "getCharacter", "listMoves", "getMove")
_BODY = "$response.body#"
_PACK, _CHARACTER = {"pack": f"{_BODY}/pack"}, {"character": f"{_BODY}/character"}
PLACES = {
    "pack": ("Pack id.", "cold_frame"), "character": ("Character id.", "wenna"),
    "move": ("Move id, or id of a system option.", "putty_jab"),
}  # fmt: skip
"""The parameters of paths, with an example of each."""

LISTS = Operations(
    routes=(list_packs, get_pack, list_characters, get_character, list_moves, get_move, live),
    types=(Health, PackPage, PackInfo, CharacterPage, CharacterForm, MovePage, MoveForm),
    done={
        "listPacks": "All loaded packs.",
        "getPack": "The pack.",
        "listCharacters": "All characters of the pack, in its order.",
        "getCharacter": "The character.",
        "listMoves": "One page of the moves that meet the bounds.",
        "getMove": "The move.",
        "live": "It is alive.",
    },
    errors={
        **dict.fromkeys(("listPacks", "live"), READ_ERRORS),
        **dict.fromkeys(("getPack", "listCharacters", "getCharacter", "listMoves", "getMove"), FOUND_ERRORS),
    },
    links={
        "listPacks": {
            "firstPack": ("getPack", {"pack": f"{_BODY}/packs/0/id"}),
            "charactersOfFirst": ("listCharacters", {"pack": f"{_BODY}/packs/0/id"}),
        },
        "getPack": {
            "characters": ("listCharacters", {"pack": f"{_BODY}/id"}),
            "firstCharacter": ("getCharacter", {"pack": f"{_BODY}/id", "character": f"{_BODY}/characters/0"}),
        },
        "listCharacters": {
            "firstCharacter": ("getCharacter", {**_PACK, "character": f"{_BODY}/characters/0/id"}),
            "movesOfFirst": ("listMoves", {**_PACK, "character": f"{_BODY}/characters/0/id"}),
        },
        "getCharacter": {
            "moves": ("listMoves", {**_PACK, "character": f"{_BODY}/id"}),
            "firstMove": ("getMove", {**_PACK, "character": f"{_BODY}/id", "move": f"{_BODY}/moves/0"}),
        },
        "listMoves": {"firstMove": ("getMove", {**_PACK, **_CHARACTER, "move": f"{_BODY}/moves/0/id"})},
        "getMove": {"character": ("getCharacter", {**_PACK, **_CHARACTER})},
    },
    parameters=PLACES,
    queries={"listMoves": Filter},
    headers={(name, status): HEADERS for name in _STATED for status in ("200", "304")},
    unchanged=dict.fromkeys(_STATED, NOT_MODIFIED),
)
"""What is loaded, and the process."""
