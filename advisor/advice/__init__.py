"""Advice: ranked responses with their proof."""

from advisor.advice.advise import CAUTIONS, Evaluator, advise
from advisor.advice.answer import Advice, ResponseAdvice

__all__ = ["CAUTIONS", "Advice", "Evaluator", "ResponseAdvice", "advise"]
