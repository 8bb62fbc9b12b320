"""Move tables of spreadsheets: read into a pack's character files by a mapping, and written back."""
