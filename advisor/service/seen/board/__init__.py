"""What those who run the service import elsewhere: a dashboard for Grafana and alert rules for Prometheus."""

from __future__ import annotations

from importlib import resources

__all__ = ["alert_rules", "dashboard"]


def dashboard() -> str:
    """The dashboard: JSON in Grafana's classic dashboard model, the data source a variable."""
    return _text("dashboard.json")


def alert_rules() -> str:
    """The alert rules: YAML as Prometheus reads it under `rule_files`; the scrape job is called `advisor`."""
    return _text("alerts.yaml")


def _text(name: str) -> str:
    return (resources.files(__package__) / name).read_text("utf-8")
