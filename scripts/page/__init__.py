"""The bench page: one case in one browser, see scripts/bench.py."""
