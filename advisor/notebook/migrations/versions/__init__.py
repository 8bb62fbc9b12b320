"""How the notebook's tables came to be, step by step; run by ``advisor.notebook.schema``."""
