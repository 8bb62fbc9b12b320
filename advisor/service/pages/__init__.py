"""The pages of the service: the desk of a player or caster, and the ground that other pages stand on."""

from advisor.service.pages.files import POLICY, PageFile, page_files
from advisor.service.pages.routes import PAGES

__all__ = ["PAGES", "POLICY", "PageFile", "page_files"]
