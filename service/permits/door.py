"""The door to permits: how one is kept."""

from service.kernel.sql import Queries
from service.permits.models import NewPermit, Permit
from service.stated.door import Noun

sql = Queries(__package__)
PERMIT = Noun(
    "permit",
    "permits",
    NewPermit,
    Permit,
    sql.read_permit,
    sql.put_permit,
    sql.list_permits,
    {"permit_check": "`until_on` comes after `from_on`"},
)
