"""Tests, each part beside the name of what it tests; their simulation shares no code with it."""

import os

# As the command line has it: matrices are small, and a second thread only waits, by spinning. Two
# processes of tests would wait for each other so. Read when numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
