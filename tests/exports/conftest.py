"""Five records of one business."""

import pytest

from tests.exports.books import issued, oil, visited
from tests.http import Api


@pytest.fixture
async def five(api: Api) -> Api:
    """Records of visits on five days; a treatment by others on the third day, by us on the fifth."""
    told = {3: {"treatments": [oil(203, 3)]}, 5: {"treatments": [oil(205, 5, applied_by="us")]}}
    for day in range(1, 6):
        await visited(api, day, **told.get(day, {}))
        await issued(api, day)
    return api
