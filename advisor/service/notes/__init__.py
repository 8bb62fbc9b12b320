"""The lab notebook over HTTP: trials, study sets, what to do next, and two versions of a pack compared."""
