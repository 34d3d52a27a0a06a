"""When work is done: how long a change settles, a lease lasts, a failure waits. Pure."""

from datetime import timedelta

# A phone brings its queue visit by visit: wait until it is quiet, but not for ever. The clock waits as long with
# what became known when it was already due.
SETTLING = timedelta(minutes=10)
SETTLING_AT_MOST = timedelta(minutes=60)

LEASE = timedelta(minutes=5)
FIRST_PAUSE = timedelta(minutes=1)
LONGEST_PAUSE = timedelta(hours=6)


def pause_after(attempt: int) -> timedelta:
    """How long to wait after attempt number `attempt` (from 1) failed: doubled, six hours at most."""
    return min(FIRST_PAUSE * (1 << min(attempt - 1, 16)), LONGEST_PAUSE)
