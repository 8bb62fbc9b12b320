"""Rules: their language, its checks, and two evaluators that give the same conclusions."""

from __future__ import annotations

from advisor.rules.engine import EngineEvaluator, engine_available, make_evaluator
from advisor.rules.load import load_rules
from advisor.rules.model import Conclusion, OpenRule, Rule, RuleSet
from advisor.rules.open_rules import open_rules
from advisor.rules.plain import PlainEvaluator
from advisor.rules.staged import Staged, Stats
from advisor.rules.vocabulary import Fact, Value, Vocabulary, load_vocabulary
from advisor.rules.wording import fill, shown

__all__ = [
    "Conclusion",
    "EngineEvaluator",
    "Fact",
    "OpenRule",
    "PlainEvaluator",
    "Rule",
    "RuleSet",
    "Staged",
    "Stats",
    "Value",
    "Vocabulary",
    "engine_available",
    "fill",
    "load_rules",
    "load_vocabulary",
    "make_evaluator",
    "open_rules",
    "shown",
]
