"""Every study by name."""

from __future__ import annotations

from advisor.studies.baits import STUDY as BAITS
from advisor.studies.beats import STUDY as BEATS
from advisor.studies.coverage import STUDY as COVERAGE
from advisor.studies.defence import STUDY as DEFENCE
from advisor.studies.exposed import STUDY as EXPOSED
from advisor.studies.gaps_in_data import STUDY as LAB_LIST
from advisor.studies.parries import STUDY as PARRIES
from advisor.studies.setups import STUDY as SETUPS
from advisor.studies.strings import STUDY as STRINGS
from advisor.studies.study import Study

__all__ = ["STUDIES"]

STUDIES: dict[str, Study] = {
    study.name: study
    for study in (COVERAGE, STRINGS, DEFENCE, PARRIES, BEATS, EXPOSED, LAB_LIST, SETUPS, BAITS)
}
"""The studies by name, in the order in which they are documented."""
