"""Settings that all tests share."""

import os

from hypothesis import settings

# The same examples in every run, and no time limit per example: a test fails for what it
# tests, not for a busy machine or an unlucky draw.
settings.register_profile("fieldaero", derandomize=True, deadline=None)
settings.load_profile("fieldaero")

# No test touches the cache of whoever runs it; those about the cache give it a folder of their own.
os.environ["FIELDAERO_CACHE"] = "off"
