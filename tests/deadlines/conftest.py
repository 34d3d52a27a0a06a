"""What tests of deadlines share."""

from uuid import UUID

import pytest

from tests.deadlines.facts import new_business


@pytest.fixture
async def business_id(database: str) -> UUID:
    """An empty book."""
    return await new_business(database)
