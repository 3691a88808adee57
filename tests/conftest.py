"""Settings of all tests."""

import os

# Before numpy comes in: as the program itself does, see scripts/main.py.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
