"""One verdict for each exchange and each response, out of all that the rules conclude."""

from advisor.verdicts.resolve import Judged, Tally, doubt, judge, tally

__all__ = ["Judged", "Tally", "doubt", "judge", "tally"]
