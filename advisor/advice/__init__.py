"""Advice: ranked responses with their proof."""

from advisor.advice.advise import CAUTIONS, advise
from advisor.advice.answer import Advice, ResponseAdvice
from advisor.advice.case import Case, Evaluator, judge_pairs

__all__ = ["CAUTIONS", "Advice", "Case", "Evaluator", "ResponseAdvice", "advise", "judge_pairs"]
