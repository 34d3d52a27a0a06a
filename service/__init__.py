"""Setbook: record book, clock and courier of a pesticide-free trapping business."""

__version__ = "0.1.0"
