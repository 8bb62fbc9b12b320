"""The read routes: packs, characters, moves by property, and one move in full."""

from __future__ import annotations

from typing import Any

import pytest
from litestar.testing import TestClient

from advisor.library import Library
from advisor.pack.model import Armour, Catch, Displacement, FollowUp, Hit, Move, Requires, Shield
from advisor.service.app import Service
from advisor.service.listing.move_form import move_form
from advisor.units import FOREVER, Span

Client = TestClient[Service]
PACK = "/v1/packs/cold_frame"
MOVES = f"{PACK}/characters/wenna/moves"


def moves(client: Client, **query: Any) -> list[dict[str, Any]]:
    response = client.get(MOVES, params={"limit": 400, **query})
    assert response.status_code == 200, response.text
    found: list[dict[str, Any]] = response.json()["moves"]
    return found


def test_packs(client: Client, library: Library) -> None:
    pack = library.shelves["cold_frame"].pack
    (listed,) = client.get("/v1/packs").json()["packs"]
    assert listed == client.get(PACK).json()
    assert listed["default"] is True
    assert listed["hash"] == pack.hash
    assert listed["characters"] == list(pack.characters)
    assert listed["distances"]["touching"] == 0.4
    assert listed["levels"]["high"] == ["airborne", "standing"]


def test_characters(client: Client, library: Library) -> None:
    pack = library.shelves["cold_frame"].pack
    page = client.get(f"{PACK}/characters").json()
    assert [c["id"] for c in page["characters"]] == list(pack.characters)
    for listed in page["characters"]:
        one = client.get(f"{PACK}/characters/{listed['id']}").json()
        assert one["moves"] == list(pack.characters[listed["id"]].moves)
        assert listed["moves"] == len(one["moves"])
        assert {k: one[k] for k in ("id", "name", "about", "health", "key_moves")} == {
            k: listed[k] for k in ("id", "name", "about", "health", "key_moves")
        }


@pytest.mark.parametrize(
    ("path", "parameter", "code", "help"),
    [
        ("/v1/packs/cold_fram", "pack", "pack-unknown", "did you mean `cold_frame`?"),
        ("/v1/packs/zz/characters", "pack", "pack-unknown", "loaded: cold_frame"),
        (f"{PACK}/characters/wena", "character", "character-unknown", "did you mean `wenna`?"),
        (f"{PACK}/characters/zz/moves", "character", "character-unknown", "it has ilko, ketterby, marl, wenna"),
        (f"{MOVES}/puty_jab", "move", "move-unknown", "did you mean `putty_jab`?"),
        (f"{MOVES}/gard", "move", "move-unknown", "did you mean `guard`?"),
        (f"{MOVES}/soot_jab", "move", "move-unknown", None),
    ],
)
def test_an_unknown_id_in_the_path(client: Client, path: str, parameter: str, code: str, help: str | None) -> None:
    response = client.get(path)
    problem = response.json()
    assert (response.status_code, problem["code"], problem["parameter"]) == (404, code, parameter)
    assert problem["help"] == help if help else problem["help"]


def test_all_moves_in_the_order_of_the_pack(client: Client, library: Library) -> None:
    assert [m["id"] for m in moves(client)] == list(library.shelves["cold_frame"].pack.characters["wenna"].moves)


@pytest.mark.parametrize(
    ("query", "keeps"),
    [
        ({"level": "low"}, lambda m: m["level"] == "low"),
        ({"kind": "parry"}, lambda m: m["kind"] == "parry"),
        ({"tag": "bait"}, lambda m: "bait" in m["tags"]),
        ({"q": "PANE"}, lambda m: "pane" in f"{m['id']} {m['name']} {m['input']}".lower()),
        ({"first_active_max": 12}, lambda m: m["first_active"] is not None and m["first_active"] <= 12),
        ({"on_block_min": -3}, lambda m: m["on_block"] is not None and m["on_block"] >= -3),
        ({"on_block_max": -10}, lambda m: m["on_block"] is not None and m["on_block"] <= -10),
        ({"damage_min": 20.5}, lambda m: m["damage"] is not None and m["damage"] >= 20.5),
        ({"reach_min": 1.5}, lambda m: m["reach"] is not None and m["reach"] >= 1.5),
        ({"unknown": "on_block"}, lambda m: m["on_block"] is None),
        ({"level": "mid", "tag": "bait", "on_block_max": -7},
         lambda m: m["level"] == "mid" and "bait" in m["tags"] and m["on_block"] is not None and m["on_block"] <= -7),
    ],
)  # fmt: skip
def test_filters(client: Client, query: dict[str, Any], keeps: Any) -> None:
    kept = moves(client, **query)
    everything = moves(client)
    assert kept == [m for m in everything if keeps(m)]
    assert 0 < len(kept) < len(everything)


@pytest.mark.parametrize("name", ["id", "name", "kind", "first_active", "total", "damage", "on_block", "reach"])
@pytest.mark.parametrize("down", [False, True])
def test_sorted_with_unknown_last(client: Client, name: str, down: bool) -> None:
    values = [m[name] for m in moves(client, sort=f"-{name}" if down else name)]
    known = [v for v in values if v is not None]
    assert values == sorted(known, reverse=down) + [None] * (len(values) - len(known))
    assert name in ("id", "name", "kind") or name == "total" or None in values


def test_pages_make_up_the_whole(client: Client) -> None:
    everything = moves(client, sort="damage")
    paged = [m for at in range(0, 40, 7) for m in moves(client, sort="damage", limit=7, offset=at)]
    assert paged == everything
    assert client.get(MOVES, params={"limit": 1, "tag": "bait"}).json()["total"] == len(moves(client, tag="bait"))
    assert moves(client, offset=10_000) == []


@pytest.mark.parametrize(
    ("query", "parameter", "detail", "help"),
    [
        ("limit=0", "limit", "`limit`: expected a whole number >= 1", None),
        ("limit=401", "limit", "`limit`: expected a whole number <= 400", None),
        ("limit=x", "limit", "`limit`: expected a whole number, got text", None),
        ("limit=", "limit", "`limit`: expected a whole number, got text", None),
        ("limit=1&limit=2", "limit", "`limit` is given more than once", "give it once"),
        ("offset=-1", "offset", "`offset`: expected a whole number >= 0", None),
        ("first_active_max=null", "first_active_max", "`first_active_max`: expected a whole number, got text", None),
        ("first_active_max=1.5", "first_active_max", "`first_active_max`: expected a whole number, got text", None),
        ("damage_min=nan", "damage_min", "`damage_min`: expected a number >= 0", None),
        ("damage_min=inf", "damage_min", "`damage_min`: expected a number <= 100000", None),
        ("damage_min=1e999", "damage_min", "`damage_min`: number out of range", None),
        ("q=", "q", "`q`: expected text of length >= 1", None),
        ("kind=atack", "kind", "`kind`: `atack` is not known here",
         "did you mean `attack`? one of attack, parry, movement, guard"),
        ("level=mild", "level", "pack `cold_frame` has no level `mild`", "did you mean `mid`?"),
        ("tag=elbo", "tag", "pack `cold_frame` has no tag `elbo`", "did you mean `elbow`?"),
        ("sortt=damage", "sortt", "`sortt` is not known here", "did you mean `sort`?"),
    ],
)  # fmt: skip
def test_a_faulty_parameter_is_named(
    client: Client, query: str, parameter: str, detail: str, help: str | None
) -> None:
    response = client.get(f"{MOVES}?{query}")
    problem = response.json()
    assert (response.status_code, problem["code"], problem["parameter"]) == (400, "value-invalid", parameter)
    assert problem["detail"] == detail
    assert problem.get("help") == help
    assert "pointer" not in problem


@pytest.mark.parametrize("query", ["sort=damag", "sort=--damage", "sort=", "unknown=damag"])
def test_a_faulty_property_lists_the_properties(client: Client, query: str) -> None:
    problem = client.get(f"{MOVES}?{query}").json()
    assert problem["parameter"] == query.partition("=")[0]
    assert "one of id, name, kind, level, first_active, total, damage" in problem["help"]
    assert ("did you mean `damage`?" in problem["help"]) == ("damag" in query)


def test_a_move_in_full(client: Client) -> None:
    move = client.get(f"{MOVES}/ladder_hop").json()
    (hit,) = move["hits"]
    assert (hit["first_active"], hit["last_active"]) == (17, 19)
    assert move["airborne"] == [{"first": 7, "last": 22}]
    assert (hit["blockstun"], move["derived"]["hits[0].blockstun"]) == (15, "on_block - 1 + active + recovery")
    assert -8 - 1 + 3 + 21 == 15
    assert (move["total"], move["derived"]["total"]) == (40, "first_active - 1 + active + recovery")
    assert 17 - 1 + 3 + 21 == 40
    assert (move["system"], move["crouching"], move["requires"]) == (False, [], {})


def test_a_parry_in_full(client: Client) -> None:
    move = client.get(f"{MOVES}/set_pane").json()
    (parry,) = move["parry"]
    assert parry["frames"] == {"first": 2, "last": 10}
    assert parry["catches"] == {"levels": [], "tags": ["hand", "tool"]}
    assert "elbow" in parry["excepting"]["tags"]


def test_a_system_option_in_full(client: Client) -> None:
    move = client.get(f"{MOVES}/guard").json()
    assert (move["system"], move["total"]) == (True, "held")
    assert move["guard"][0]["frames"] == {"first": 1, "last": "held"}


def test_unknown_is_null_and_none_is_empty(client: Client) -> None:
    lift = client.get(f"{MOVES}/grozing_lift").json()
    assert (lift["hits"][0]["pushback_block"], lift["hits"][0]["pushback_hit"]) == (None, None)
    assert lift["follow_ups"] == []
    assert client.get(f"{MOVES}/sill_kick").json()["requires"] == {"stance": "kneel"}


def test_every_window_of_the_form() -> None:
    everything = Catch()
    shown = move_form(
        Move(
            id="m", name="M", kind="attack",
            hits=(Hit(first_active=5, active_stop=8, reach=1_500_000), Hit(first_active=20)),
            total=FOREVER,
            airborne=None,
            crouching=(Span(1, 2), Span(4, FOREVER)),
            invulnerable=(Shield(span=Span(1, 9), to=everything),),
            armour=(Armour(span=Span(3, 4), to=Catch(levels=frozenset({"mid", "low"})), hits=2),),
            displacement=(Displacement(span=Span(1, 24), step=-86_957),),
            follow_ups=(FollowUp(move="n", arrives=Span(17, 23), on=frozenset({"hit", "block"})),),
            requires=Requires(near_wall=False, follows=True),
            cost=None,
        ),
        pack="p", character="c", system=False,
    )  # fmt: skip
    assert [(h.first_active, h.last_active) for h in shown.hits] == [(5, 7), (20, None)]
    assert shown.total == "held"
    assert (shown.airborne, shown.sidestep, shown.cost) == (None, None, None)
    assert [(w.first, w.last) for w in shown.crouching or ()] == [(1, 1), (4, "held")]
    assert [(s.frames.first, s.frames.last, s.to.levels) for s in shown.invulnerable or ()] == [(1, 8, [])]
    assert [(a.frames.last, a.hits, a.to.levels) for a in shown.armour or ()] == [(3, 2, ["low", "mid"])]
    assert [d.distance for d in shown.displacement or ()] == [-2.0]
    assert [(f.arrives.first, f.arrives.last, f.begins, f.on) for f in shown.follow_ups if f.arrives] == [
        (17, 22, None, ["block", "hit"])
    ]
    assert (shown.requires.near_wall, shown.requires.follows) == (False, True)
