"""Window arithmetic: who is where on which frame, and what happens when two options meet."""

from advisor.timeline.exchange import Contact, Exchange, meet
from advisor.timeline.side import Side, Timeline, timeline_of

__all__ = ["Contact", "Exchange", "Side", "Timeline", "meet", "timeline_of"]
