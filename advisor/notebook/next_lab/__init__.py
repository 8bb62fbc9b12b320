"""What to do next in the lab: trials and properties by the value of what they would tell."""

from advisor.notebook.next_lab.answer import EntryNow, LeftOut, NextItem, NextLab, Share
from advisor.notebook.next_lab.ranking import MOST_ASKED, next_lab
from advisor.notebook.next_lab.worth import Trust

__all__ = ["MOST_ASKED", "EntryNow", "LeftOut", "NextItem", "NextLab", "Share", "Trust", "next_lab"]
