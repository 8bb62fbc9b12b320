"""The routes of setups and baits: answers, and bad input pointed at."""

from __future__ import annotations

import json
from typing import Any

import pytest
from litestar.testing import TestClient

from advisor.service.app import Service

Client = TestClient[Service]
SETUPS, BAITS = "/v1/setups", "/v1/baits"
BODIES: dict[str, dict[str, Any]] = {
    SETUPS: {
        "me": {"character": "marl"}, "them": {"character": "wenna"}, "distance": "close", "length": 2, "limit": 3,
        "moment": {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 30},
    },
    BAITS: {
        "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "answers": ["set_pane"],
        "limit": 3,
    },
}


def send(client: Client, path: str, **changed: Any) -> tuple[int, dict[str, Any]]:
    body = {key: value for key, value in {**BODIES[path], **changed}.items() if value is not ...}
    response = client.post(path, content=json.dumps(body), headers={"content-type": "application/json"})
    wanted = "application/json" if response.status_code == 200 else "application/problem+json"
    assert response.headers["content-type"].startswith(wanted)
    return response.status_code, response.json()


def lies(**changed: Any) -> dict[str, Any]:
    return {**BODIES[SETUPS]["moment"], **changed}


def after(kind: str, move: str, attacker: str = "me") -> dict[str, Any]:
    return {"kind": kind, "attacker": attacker, "move": move}


def test_setups_are_answered_best_first(client: Client) -> None:
    status, answer = send(client, SETUPS)
    assert status == 200
    assert (answer["knockdown"], answer["frames"], answer["complete"]) == ("face_up", 30, True)
    assert 1 <= len(answer["setups"]) <= 3
    covered = [setup["covered"] for setup in answer["setups"]]
    assert covered == sorted(covered, reverse=True)
    assert all(len(setup["actions"]) <= 2 for setup in answer["setups"])
    assert answer["found"] == sum(answer["by_coverage"].values())


def test_a_search_over_its_bound_is_an_answer_that_says_so(client: Client) -> None:
    status, answer = send(client, SETUPS, length=5, bound=1_000)
    assert status == 200
    assert (answer["complete"], answer["bound"]) == (False, 1_000)
    assert answer["found"] == sum(answer["by_coverage"].values())
    assert send(client, SETUPS, length=1)[1]["complete"] is True


def test_a_move_of_mine_that_leaves_the_knockdown(client: Client) -> None:
    status, answer = send(client, SETUPS, moment=lies(frames=0))
    assert status == 200 and answer["frames"] == 0
    status, problem = send(client, SETUPS, moment=after("hit", "cinder_knee"))
    assert (status, problem["code"], problem["pointer"]) == (422, "question-impossible", "/moment/move")


def test_baits_are_answered_best_first(client: Client) -> None:
    status, answer = send(client, BAITS)
    assert status == 200
    assert [bait["answer"] for bait in answer["baits"]] == ["set_pane"] * 3
    shares = [bait["caught"] / bait["of"] for bait in answer["baits"]]
    assert shares == sorted(shares, reverse=True)
    assert answer["found"] >= 3
    for bait in answer["baits"]:
        assert bait["caught"] == sum(tried["caught"] for tried in bait["tries"])
        assert all((tried["frames"] is not None) == tried["caught"] for tried in bait["tries"])


REFUSED = [
    (SETUPS, {"moment": lies(floored="me")}, 422, "question-impossible", "/moment/floored"),
    (SETUPS, {"moment": lies(frames=-2)}, 422, "question-impossible", "/moment/frames"),
    (SETUPS, {"moment": lies(frames="soon")}, 400, "value-invalid", "/moment/frames"),
    (SETUPS, {"moment": lies(state="face_upp")}, 404, "knockdown-unknown", "/moment/state"),
    (SETUPS, {"moment": lies(kind="blocked")}, 400, "value-invalid", "/moment/kind"),
    (SETUPS, {"moment": after("hit", "cinder_kne")}, 404, "move-unknown", "/moment/move"),
    (SETUPS, {"moment": after("hit", "putty_jab", "them")}, 422, "question-impossible", "/moment/attacker"),
    (SETUPS, {"moment": ...}, 400, "value-invalid", "/moment"),
    (SETUPS, {"last": ["cinder_kne"]}, 404, "option-unknown", "/last/0"),
    (SETUPS, {"last": ["cinder_knee", "backdash"]}, 422, "question-impossible", "/last/1"),
    (SETUPS, {"actions": ["backdash", "bakdash"]}, 404, "option-unknown", "/actions/1"),
    (SETUPS, {"replies": ["stay_downn"]}, 404, "option-unknown", "/replies/0"),
    (SETUPS, {"distance": "clos"}, 404, "distance-unknown", "/distance"),
    (SETUPS, {"length": 6}, 400, "value-invalid", "/length"),
    (SETUPS, {"length": 0}, 400, "value-invalid", "/length"),
    (SETUPS, {"bound": 999}, 400, "value-invalid", "/bound"),
    (SETUPS, {"bound": 20_000_001}, 400, "value-invalid", "/bound"),
    (SETUPS, {"each": 0}, 400, "value-invalid", "/each"),
    (SETUPS, {"at_least": 0}, 400, "value-invalid", "/at_least"),
    (SETUPS, {"limit": 401}, 400, "value-invalid", "/limit"),
    (SETUPS, {"ground": "yes"}, 400, "value-invalid", "/ground"),
    (SETUPS, {"lenght": 3}, 400, "value-invalid", "/lenght"),
    (BAITS, {"moves": ["ladder_hopp"]}, 404, "move-unknown", "/moves/0"),
    (BAITS, {"answers": ["set_pane", "set_pan"]}, 404, "option-unknown", "/answers/1"),
    (BAITS, {"replies": ["cinder_kne"]}, 404, "option-unknown", "/replies/0"),
    (BAITS, {"results": []}, 400, "value-invalid", "/results"),
    (BAITS, {"results": ["blocked", "hit"]}, 400, "value-invalid", "/results/1"),
    (BAITS, {"eager": 21}, 400, "value-invalid", "/eager"),
    (BAITS, {"eager": -1}, 400, "value-invalid", "/eager"),
    (BAITS, {"usual_blockstun": 121}, 400, "value-invalid", "/usual_blockstun"),
    (BAITS, {"in_the_air": "2"}, 400, "value-invalid", "/in_the_air"),
    (BAITS, {"distance": -1}, 400, "value-invalid", "/distance"),
    (BAITS, {"me": {"character": "wenna", "meterr": 3}}, 400, "value-invalid", "/me/meterr"),
    (BAITS, {"them": {}}, 400, "value-invalid", "/them/character"),
]


@pytest.mark.parametrize(
    ("path", "changed", "status", "code", "pointer"), REFUSED,
    ids=[f"{row[0].rpartition('/')[2]}{row[4].replace('/', '.')}-{i}" for i, row in enumerate(REFUSED)],
)
def test_bad_input_is_pointed_at(
    client: Client, path: str, changed: dict[str, Any], status: int, code: str, pointer: str
) -> None:
    found, problem = send(client, path, **changed)
    assert (found, problem["code"], problem["pointer"]) == (status, code, pointer), problem
    assert problem["status"] == status
    detail = problem["detail"]
    assert detail[:1] == detail[:1].lower() and not detail.endswith(".")
    assert problem.get("help") or problem["code"] == "value-invalid"
    if status == 404:
        assert problem["help"].startswith("did you mean `")
