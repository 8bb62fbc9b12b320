"""The lab notebook: trials that were made, sets of saved situations, and what they say about theory."""

from advisor.notebook.sets import Entry, SetInfo, Sets
from advisor.notebook.store import Notebook, Page
from advisor.notebook.trial import Situation, Trial, situation_of
from advisor.notebook.where import notebook_url

__all__ = ["Entry", "Notebook", "Page", "SetInfo", "Sets", "Situation", "Trial", "notebook_url", "situation_of"]
