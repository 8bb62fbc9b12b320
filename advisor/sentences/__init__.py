"""Sentences for people, in the language that is being spoken: English in the source, others in a catalogue."""

from __future__ import annotations

from advisor.sentences.catalogue import languages
from advisor.sentences.say import better_of, in_words, many, mark, say, speaking, spoken

__all__ = ["better_of", "in_words", "languages", "many", "mark", "say", "speaking", "spoken"]
