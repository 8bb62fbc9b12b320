"""Advice: ranked responses with their proof."""

from advisor.advice.advise import CAUTIONS, advise
from advisor.advice.answer import Advice, ResponseAdvice
from advisor.advice.case import Case, Evaluator, judge_pairs
from advisor.advice.evidence import TrialRules
from advisor.advice.tried import Tried

__all__ = [
    "CAUTIONS", "Advice", "Case", "Evaluator", "ResponseAdvice", "TrialRules", "Tried", "advise", "judge_pairs",
]
