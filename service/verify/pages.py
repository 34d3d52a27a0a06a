"""A page of records (JSON) taken apart into the records as they stand in it. Pure."""

import re

from service.verify.rules import is_compact

OPENING = b'{"items":['
_PAGE = re.compile(rb'\{"items":\[(.*)\],("next":"[^"\\]*","excluded":\[.*\])\}', re.DOTALL)
# where one record ends and the next begins: a quote inside a text is escaped, so that this stands in no text
_PARTED = re.compile(rb'(?<=\}),(?=\{"noun":"(?:signed_service_record|service_record_with_party)")')


def records_in(raw: bytes) -> tuple[list[bytes], str | None]:
    """The records of a page, and what is wrong around them."""
    form = _PAGE.fullmatch(raw)
    if form is None or not is_compact(b"{" + form[2] + b"}"):
        return [] if form is None else _parted(form[1]), "The page is not as it was sent; fetch it anew."
    return _parted(form[1]), None


def _parted(items: bytes) -> list[bytes]:
    return _PARTED.split(items) if items else []
