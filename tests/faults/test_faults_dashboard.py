"""The dashboard and the alert rules in a real Prometheus, which collects from a real server."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
import yaml
from test_faults_processes import Service, eventually, fresh, question, reload, serving

from advisor.service.seen.board import alert_rules, dashboard

pytestmark = pytest.mark.full

GIVEN = {"$instance": ".+", "$__rate_interval": "10s", "$__range": "60s"}
"""What Grafana puts in place of its variables."""
RULES = {rule["alert"]: rule for rule in yaml.safe_load(alert_rules())["groups"][0]["rules"]}


def program(name: str) -> str:
    found = shutil.which(name)
    assert found, f"these tests need {name} (Debian package `prometheus`)"
    return found


def promtool(*words: str) -> None:
    done = subprocess.run([program("promtool"), *words], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def written(folder: Path) -> Path:
    path = folder / "alerts.yaml"
    path.write_text(alert_rules(), encoding="utf-8")
    return path


class Prometheus:
    """One that collects each second from a service; it keeps what it collects in the folder."""

    def __init__(self, folder: Path, service: Service) -> None:
        config = {
            "global": {"scrape_interval": "1s", "scrape_timeout": "1s", "evaluation_interval": "1s"},
            "rule_files": [str(written(folder))],
            "scrape_configs": [
                {"job_name": "advisor", "static_configs": [{"targets": ["{}:{}".format(*service.address)]}]}
            ],
        }
        path = folder / "prometheus.yml"
        path.write_text(yaml.safe_dump(config), encoding="utf-8")
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            address = f"127.0.0.1:{free.getsockname()[1]}"
        self.url, self.ready = f"http://{address}/api/v1", f"http://{address}/-/ready"
        self.client = fresh()
        with (folder / "prometheus.log").open("wb") as log:
            self.process = subprocess.Popen(
                [program("prometheus"), f"--config.file={path}", f"--storage.tsdb.path={folder / 'collected'}",
                 f"--web.listen-address={address}"],
                stdout=log, stderr=log,
            )  # fmt: skip

    def answered(self, expression: str) -> list[dict[str, Any]]:
        """The series of an expression now; an error of Prometheus is an error here."""
        response = self.client.post(f"{self.url}/query", data={"query": expression})
        said = response.json()
        assert response.status_code == 200 and said["status"] == "success", (expression, said)
        return list(said["data"]["result"])

    def holds(self, expression: str) -> bool:
        """Whether anything comes of it; False while it starts."""
        try:
            return self.client.get(self.ready).status_code == 200 and bool(self.answered(expression))
        except httpx.TransportError:
            assert self.process.poll() is None, "prometheus ended"
            return False

    def alert(self, name: str) -> bool:
        """Whether an alert is pending or firing."""
        found = self.client.get(f"{self.url}/alerts").json()["data"]["alerts"]
        return name in {one["labels"]["alertname"] for one in found}


@contextmanager
def collecting(folder: Path, service: Service) -> Iterator[Prometheus]:
    prometheus = Prometheus(folder, service)
    try:
        yield prometheus
    finally:
        prometheus.client.close()
        with prometheus.process:
            prometheus.process.kill()


def filled(expression: str) -> str:
    for name, value in GIVEN.items():
        expression = expression.replace(name, value)
    assert "$" not in expression
    return expression


def test_every_panel_and_alert_is_answered_by_a_prometheus(tmp_path: Path) -> None:
    targets = [(panel["title"], one) for panel in json.loads(dashboard())["panels"] for one in panel.get("targets", ())]
    with serving(tmp_path, workers=1) as service, collecting(tmp_path, service) as prometheus, fresh() as client:
        eventually(lambda: prometheus.holds('up{job="advisor"} == 1'))
        asked = 0

        def ask() -> None:
            nonlocal asked
            asked += 1
            for number in (asked, asked, 0):
                assert client.post(f"{service.url}/v1/advice", json=question(number)).status_code == 200
            assert client.get(f"{service.url}/v1/packs").status_code == 200
            assert client.get(f"{service.url}/v1/nothing").status_code == 404

        empty: list[tuple[str, str]] = []

        def all_there() -> bool:
            ask()
            empty.clear()
            for title, target in targets:
                found = prometheus.answered(filled(target["expr"]))
                if all(one["value"][1] == "NaN" for one in found):
                    empty.append((title, target["legendFormat"]))
            return not empty

        try:
            eventually(all_there)
        except AssertionError:
            raise AssertionError(f"nothing to be seen in {empty}") from None
        (firings,) = [one for title, one in targets if title == "Rules that fired most"]
        assert "punish/guaranteed" in {one["metric"]["rule"] for one in prometheus.answered(filled(firings["expr"]))}
        (wrong,) = [one for title, one in targets if one["legendFormat"] == "4xx"]
        assert 0.05 < float(prometheus.answered(filled(wrong["expr"]))[0]["value"][1]) < 0.5  # one of five, and probes
        assert {name for name, rule in RULES.items() if prometheus.answered(rule["expr"])} == set()

        (service.pack / "pack.yaml").write_text("nonsense: [", encoding="utf-8")
        assert reload(service).status_code == 422
        eventually(lambda: prometheus.alert("AdvisorReloadRefused"))
        service.process.kill()
        eventually(lambda: prometheus.alert("AdvisorDown"))


def counted(series: str, values: str, **labels: str) -> dict[str, str]:
    said = ", ".join(f'{name}="{value}"' for name, value in {"job": "advisor", "instance": "a", **labels}.items())
    return {"series": f"{series}{{{said}}}", "values": values}


def requests(status: str, grows: int, operation: str = "advise") -> dict[str, str]:
    return counted("advisor_requests_total", f"0+{grows}x40", operation=operation, status=status)


def reloads(outcome: str) -> dict[str, str]:
    return counted("advisor_reloads_total", "0x24 1x15", outcome=outcome)


def lights(quick: int, all_: int) -> list[dict[str, str]]:
    series = "advisor_request_seconds"
    return [
        counted(f"{series}_bucket", f"0+{quick}x40", operation="live", le="0.05"),
        counted(f"{series}_bucket", f"0+{all_}x40", operation="live", le="0.1"),
        counted(f"{series}_bucket", f"0+{all_}x40", operation="live", le="+Inf"),
        counted(f"{series}_count", f"0+{all_}x40", operation="live"),
    ]


UP = counted("up", "1x40")
CASES: list[tuple[str, list[dict[str, str]], str | None]] = [
    ("nothing wrong", [UP, requests("2xx", 100), *lights(100, 100)], None),
    ("it is away", [counted("up", "0x40")], "AdvisorDown"),
    ("nobody collects", [counted("up", "1x40") | {"series": 'up{job="other"}'}], "AdvisorDown"),
    ("2 % end with 5xx", [UP, requests("2xx", 98), requests("5xx", 2)], "AdvisorServerErrors"),
    ("half a percent ends with 5xx", [UP, requests("2xx", 199), requests("5xx", 1)], None),
    ("4xx are the callers' own", [UP, requests("2xx", 50), requests("4xx", 50)], None),
    ("2 of 100 are slow", [UP, *lights(98, 100)], "AdvisorSlow"),
    ("1 of 200 is slow", [UP, *lights(199, 200)], None),
    ("slow, but only 5 a minute", [UP, *lights(0, 5)], None),
    ("two workers lost", [UP, counted("advisor_worker_losses_total", "0x19 1x4 2x25")], None),
    ("three workers lost", [UP, counted("advisor_worker_losses_total", "0x19 1x4 3x25")], "AdvisorWorkersLost"),
    ("busy all the time", [UP, counted("advisor_busy_refusals_total", "0+3x40")], "AdvisorBusy"),
    ("busy once", [UP, counted("advisor_busy_refusals_total", "0x26 4x13")], None),
    ("not ready", [UP, requests("2xx", 100), requests("5xx", 6, "ready")], "AdvisorNotReady"),
    ("ready", [UP, requests("2xx", 6, "ready")], None),
    ("a reload refused", [UP, reloads("refused")], "AdvisorReloadRefused"),
    ("a reload", [UP, reloads("ok")], None),
]  # fmt: skip


def test_each_alert_fires_when_it_should_and_not_before(tmp_path: Path) -> None:
    """Series of 40 minutes, a sample each, looked at between two samples, after 30 minutes and a half."""
    assert {fires for _, _, fires in CASES if fires} == set(RULES)
    tests = [
        {
            "name": name, "interval": "1m", "input_series": series,
            "promql_expr_test": [
                {
                    "expr": 'count by (alertname) (ALERTS{alertstate="firing"})', "eval_time": "30m30s",
                    "exp_samples": [{"labels": f'{{alertname="{fires}"}}', "value": 1}] if fires else [],
                }
            ],
        }
        for name, series, fires in CASES
    ]  # fmt: skip
    path = tmp_path / "cases.yaml"
    path.write_text(
        yaml.safe_dump({"rule_files": [str(written(tmp_path))], "evaluation_interval": "30s", "tests": tests}), "utf-8"
    )
    promtool("check", "rules", str(tmp_path / "alerts.yaml"))
    promtool("test", "rules", str(path))
