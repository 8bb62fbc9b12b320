"""Exchange facts: from a question to flat records that rules speak about, with provenance."""

from advisor.facts.outcome import Outcome
from advisor.facts.provenance import SOURCES, Source, sources_of, unknown_among
from advisor.facts.question import Question
from advisor.facts.records import Pair, Ready, Record, Value, meeting_of, pair_of, ready, situation_record
from advisor.facts.situation import Entry, Situation, settle

__all__ = [
    "SOURCES", "Entry", "Outcome", "Pair", "Question", "Ready", "Record", "Situation", "Source", "Value",
    "meeting_of", "pair_of", "ready", "settle", "situation_record", "sources_of", "unknown_among",
]
