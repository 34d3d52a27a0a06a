"""What house policies must say. Pure."""

from collections.abc import Sequence

from service.identity.models import HousePolicy
from service.kernel.errors import Fault


def policy_faults(policies: Sequence[HousePolicy]) -> list[Fault]:
    """A policy that sets no look would leave sets without one, in silence, wherever no law speaks."""
    detail = (
        "Set at least one of `calendar_days`, `latest_hour` and `elapsed_hours`; with `off_where_law_speaks` it "
        "leaves looks to the law where there is one."
    )
    return [
        Fault(detail, f"#/house_policies/{place}", "sets_no_look")
        for place, one in enumerate(policies)
        if one.calendar_days is None and one.latest_hour is None and one.elapsed_hours is None
    ]
