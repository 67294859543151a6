"""Hears a vet call pregnancy-scan results in a milking shed and keeps the record."""

import os
from importlib.metadata import version

# From 1.29 on, onnxruntime reports its use to its maker unless it finds this when it starts.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"

__version__ = version("voicecapture")
