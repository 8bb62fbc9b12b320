"""Studies: the questions of a lab session, one module each; ``STUDIES`` has them by name."""

from advisor.studies.registry import STUDIES
from advisor.studies.study import Study

__all__ = ["STUDIES", "Study"]
