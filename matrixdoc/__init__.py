"""Reason backward from what a coin-operated game shows to the part that failed."""

import os

# Circuits are small and solved many at a time: a linear-algebra library that spreads one over all cores
# only makes its threads wait for each other (measured: ten times slower beside one other busy process).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
