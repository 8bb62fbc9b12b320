"""No test reads or writes the notebook of whoever runs it."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile

_FOLDER = tempfile.mkdtemp(prefix="advisor-tests-")
atexit.register(shutil.rmtree, _FOLDER, ignore_errors=True)
os.environ["XDG_DATA_HOME"] = _FOLDER
os.environ.pop("ADVISOR_NOTEBOOK", None)
