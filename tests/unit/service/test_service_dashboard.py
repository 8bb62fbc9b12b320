"""The dashboard and the alert rules name what the service shows, and the dashboard is laid out as Grafana wants it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner
from litestar.testing import TestClient
from prometheus_client.parser import text_string_to_metric_families
from test_service_bodies import question

from advisor.clients.dashboard import COMMANDS
from advisor.library import Library
from advisor.service.app import Service, create_app
from advisor.service.seen.board import alert_rules, dashboard
from advisor.service.settings import Settings

Series = dict[str, set[str]]
"""Names of series, each with the names of its labels."""
TARGETS = {"instance", "job"}
"""Labels that Prometheus gives to all that it collects."""
SPOKEN = re.compile(
    r"\b(sum|rate|increase|histogram_quantile|topk|vector|absent|by|or|and|ignoring|on)\b|\$__\w+|\d[\d.]*[smhd]?"
)
NAME = re.compile(r"[a-zA-Z_:][\w:]*")
PANELS = {"row", "timeseries", "stat", "bargauge"}


def expressions() -> Iterator[tuple[str, str]]:
    """Every expression, with the panel or alert that it belongs to."""
    board = json.loads(dashboard())
    for panel in board["panels"]:
        for target in panel.get("targets", ()):
            yield panel["title"], target["expr"]
    for rule in yaml.safe_load(alert_rules())["groups"][0]["rules"]:
        yield rule["alert"], rule["expr"]


def faults(expression: str, known: Series) -> list[str]:
    """Names of series and labels in an expression that the service does not show."""
    text = re.sub(r'"[^"]*"', '""', expression)
    out = []
    grouped = {name for names in re.findall(r"\bby \(([^)]*)\)", text) for name in NAME.findall(names)}
    bare = re.sub(r"\bby \([^)]*\)", "", text)
    used: set[str] = set()
    for name, matchers in re.findall(r"([a-zA-Z_:][\w:]*)\{([^}]*)\}", bare):
        labels = set(re.findall(r"(\w+)\s*(?:=~|!~|!=|=)", matchers)) - TARGETS
        used |= known.get(name, set())
        out += [name] if name not in known else [f"{name}{{{label}}}" for label in sorted(labels - known[name])]
    left = SPOKEN.sub("", re.sub(r"[a-zA-Z_:][\w:]*\{[^}]*\}", "", bare))
    out += NAME.findall(left)  # a series without matchers would be of all that Prometheus collects
    return out + [f"by ({label})" for label in sorted(grouped - used - TARGETS)]


def shown(text: str) -> Series:
    out: Series = {"up": set()}
    for family in text_string_to_metric_families(text):
        out.setdefault({"counter": f"{family.name}_total"}.get(family.type, family.name), set())
        for sample in family.samples:
            out.setdefault(sample.name, set()).update(sample.labels)
    return out


@pytest.fixture(scope="module")
def known(library: Library) -> Series:
    """What a service shows that was asked a few things."""
    with TestClient[Service](create_app(Settings(workers=0, engine="plain"), library)) as client:
        assert client.post("/v1/advice", json=question()).status_code == 200
        assert client.get("/v1/nothing").status_code == 404
        return shown(client.get("/metrics", headers={"accept": "text/plain"}).text)


def test_each_expression_names_what_the_service_shows(known: Series) -> None:
    said = list(expressions())
    assert len(said) > 30
    assert not [(title, wrong) for title, expression in said if (wrong := faults(expression, known))]


@pytest.mark.parametrize(
    ("expression", "wrong"),
    [
        ('sum(rate(advisor_request_total{instance="x"}[5m]))', ["advisor_request_total"]),
        ('advisor_jobs{instance="x", status="done"}', ["advisor_jobs{status}"]),
        ('sum by (rule) (advisor_jobs{instance="x"})', ["by (rule)"]),
        ("sum(advisor_jobs)", ["advisor_jobs"]),
        ('rate(advisor_request_seconds_bucket{le="1", task="advice"}[5m])', ["advisor_request_seconds_bucket{task}"]),
    ],
)
def test_a_made_up_name_is_found(known: Series, expression: str, wrong: list[str]) -> None:
    assert faults(expression, known) == wrong


def test_everything_the_service_counts_is_on_the_dashboard(known: Series) -> None:
    said = dashboard()
    families = {re.sub(r"_(bucket|count|sum|total)\Z", "", name) for name in known if name.startswith("advisor_")}
    assert len(families) > 15
    assert not [name for name in sorted(families) if name not in said]


def test_operations_that_are_named_are_there() -> None:
    document = json.loads((Path(__file__).parents[3] / "openapi" / "openapi.json").read_text("utf-8"))
    ids = {one["operationId"] for path in document["paths"].values() for one in path.values() if "operationId" in one}
    named = {
        name for _, expression in expressions() for found in re.findall(r'operation(?:=~|!~|!=|=)"([^"]*)"', expression)
        for name in found.split("|")
    }  # fmt: skip
    assert named > {"live", "ready", "getMove"}
    assert named - ids == {"/metrics"}


def test_panels_are_distinct_and_do_not_overlap() -> None:
    board = json.loads(dashboard())
    panels = board["panels"]
    assert len({panel["id"] for panel in panels}) == len(panels) > 15
    assert len({panel["title"] for panel in panels}) == len(panels)
    assert {panel["type"] for panel in panels} == PANELS
    places = [panel["gridPos"] for panel in panels]
    assert all(at["x"] >= 0 and at["w"] > 0 and at["h"] > 0 and at["x"] + at["w"] <= 24 for at in places)
    for one, other in combinations(places, 2):
        apart = [one[x] + one[size] <= other[x] or other[x] + other[size] <= one[x] for x, size in ("xw", "yh")]
        assert any(apart), (one, other)
    whole = sum(at["w"] * at["h"] for at in places)
    assert whole == 24 * max(at["y"] + at["h"] for at in places), "a gap"


def test_every_panel_asks_the_source_that_was_chosen() -> None:
    board = json.loads(dashboard())
    chosen = {"type": "prometheus", "uid": "${datasource}"}
    variables = {one["name"]: one for one in board["templating"]["list"]}
    assert (variables["datasource"]["type"], variables["datasource"]["query"]) == ("datasource", "prometheus")
    assert variables["instance"]["datasource"] == chosen
    for panel in board["panels"]:
        targets: list[dict[str, Any]] = panel.get("targets", [])
        assert [target["datasource"] for target in targets] == [chosen] * len(targets)
        assert len({target["refId"] for target in targets}) == len(targets)
        assert bool(targets) == (panel["type"] != "row")
        drawn = {target["legendFormat"] for target in targets}
        named = {one["matcher"]["options"] for one in panel.get("fieldConfig", {}).get("overrides", ())}
        assert named <= drawn or any("{{" in legend for legend in drawn), panel["title"]
    assert (board["id"], board["refresh"]) == (None, "30s")


def test_every_alert_says_what_is_wrong_and_what_to_do() -> None:
    rules = yaml.safe_load(alert_rules())["groups"][0]["rules"]
    assert len({rule["alert"] for rule in rules}) == len(rules) >= 7
    for rule in rules:
        assert set(rule["annotations"]) == {"summary", "action"}
        assert all(len(text) > 30 for text in rule["annotations"].values())
        assert rule["labels"]["severity"] in {"warning", "critical"}


def test_the_command_gives_both_files(tmp_path: Path) -> None:
    runner, out = CliRunner(), tmp_path / "board.json"
    assert runner.invoke(COMMANDS["dashboard"], []).stdout == dashboard()
    assert runner.invoke(COMMANDS["dashboard"], ["--alerts"]).stdout == alert_rules()
    said = runner.invoke(COMMANDS["dashboard"], ["--out", str(out)])
    assert (said.exit_code, said.stdout, out.read_text("utf-8")) == (0, "", dashboard())
    failed = runner.invoke(COMMANDS["dashboard"], ["--out", str(tmp_path / "none" / "board.json")])
    assert failed.exit_code == 2
    assert "cannot be written" in failed.stderr
