"""The service seen from outside: logs, metrics, traces, and whether it is ready."""
