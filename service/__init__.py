"""Setbook: record book, clock and courier of a pesticide-free trapping business."""

import zoneinfo

__version__ = "0.1.0"

# Zones come from the pinned package on every machine, or a deadline could not be worked out again.
zoneinfo.reset_tzpath(to=())
