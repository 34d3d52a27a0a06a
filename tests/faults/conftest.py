"""What the courier's own tests use: a business whose log is filled through the outbox, and the way into it."""

from tests.events.conftest import add_book, book, courier

__all__ = ["add_book", "book", "courier"]
