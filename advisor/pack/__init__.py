"""Packs: one game's data as people write it, checked and made explicit."""
