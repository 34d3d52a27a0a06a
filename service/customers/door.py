"""The door to customers: how one is kept."""

from service.customers.models import Customer, NewCustomer
from service.kernel.sql import Queries
from service.stated.door import Noun

sql = Queries(__package__)
CUSTOMER = Noun(
    "customer", "customers", NewCustomer, Customer, sql.read_customer, sql.put_customer, sql.list_customers
)
