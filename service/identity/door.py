"""The door to identity: how a business and its workers are kept."""

from service.identity.models import Business, NewBusiness, NewWorker, Worker
from service.kernel.sql import Queries
from service.stated.door import Noun

sql = Queries(__package__)
BUSINESS = Noun(
    "business", "business", NewBusiness, Business, sql.read_business, sql.put_business, sql.read_business
)
WORKER = Noun("worker", "workers", NewWorker, Worker, sql.read_worker, sql.put_worker, sql.list_workers)
