"""Study sheets: a fighter's or a match-up's guide to print, as one page of HTML or as Markdown."""

from __future__ import annotations

from advisor.sheets.build import fighter_sheet, set_sheet
from advisor.sheets.html import as_html
from advisor.sheets.markdown import Written, as_markdown
from advisor.sheets.model import Sheet

__all__ = ["Sheet", "Written", "as_html", "as_markdown", "fighter_sheet", "set_sheet"]
