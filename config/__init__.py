"""The frame of the site. Imported before anything else, so that what is said here holds for numpy and scipy."""

import os

# Sums here are small and many requests run side by side: threads within one sum wait for each other longer than the
# sum takes (a season's forecast was three to five times as slow with them on two busy cores).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
