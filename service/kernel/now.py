"""The one place that reads the clock and the dice; everything else takes them as arguments."""

import os
from datetime import UTC, datetime


def utc_now() -> datetime:
    """Now, in UTC, at microseconds."""
    return datetime.now(UTC)


def random_bytes(count: int) -> bytes:
    """From the operating system."""
    return os.urandom(count)
