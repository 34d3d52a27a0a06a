"""A record as it is read for a page, and the page that HTML and PDF are both made from."""

from datetime import datetime
from typing import Any

from msgspec import Struct

from service.wording.content import LicenceStated, PartyStated, Stated


class Issuer(Struct, frozen=True, kw_only=True):
    """Licences and permits as they are printed."""

    licences: list[LicenceStated] = []
    permit: LicenceStated | None = None
    other_permits: list[LicenceStated] = []


class Refs(Struct, frozen=True, kw_only=True):
    """The numbers in the business's other books."""

    customer: str | None = None
    property: str | None = None


class Arrival(Struct, frozen=True, kw_only=True):
    """The last arrival from a phone."""

    received_at: datetime


class Basis(Struct, frozen=True, kw_only=True):
    """How complete the book was: the last arrival from each phone concerned, and what was spoken of and not stated."""

    complete_as_of: list[Arrival] = []
    awaited: list[Any] = []


class Issued(Struct, frozen=True, kw_only=True):
    """A version of a record; members that are not known here are passed over."""

    number: str
    version: int
    replaces: str | None = None
    issued_at: datetime
    issuer: Issuer = Issuer()
    refs: Refs = Refs()
    basis: Basis = Basis()
    content: Stated


class Signed(Struct, frozen=True, kw_only=True):
    """A record with its digest in hex and its signature."""

    record: Issued
    sha256: str
    signature: str | None = None


class Beside(Struct, frozen=True, kw_only=True):
    """What stands beside the bytes: whose record it is, and the persons while they are not erased.

    `erased` says when and on which ground they were: the business's word, which nothing in the signed bytes binds.
    """

    business: str
    party: PartyStated | None = None
    erased: str | None = None
    newer: str | None = None


class Row(Struct, frozen=True):
    """A named fact."""

    label: str
    text: str


class Table(Struct, frozen=True, kw_only=True):
    """Lines under named columns; `caption` says what they are."""

    caption: str
    columns: list[str]
    rows: list[list[str]]


class Section(Struct, frozen=True, kw_only=True):
    """A part under a heading."""

    heading: str
    sentences: list[str] = []
    rows: list[Row] = []
    table: Table | None = None


class ClaimShown(Struct, frozen=True):
    """A claim, and whether it holds."""

    text: str
    holds: bool


class Page(Struct, frozen=True, kw_only=True):
    """All that is shown, in its order; `banner` comes before everything, `paper` is Typst's name of the sheet.

    `texts` says how old the texts are that the next look rests on.
    """

    paper: str
    title: str
    business: str
    banner: str
    issued_on: list[int]
    facts: list[Row]
    claims: list[ClaimShown]
    statement: str
    sections: list[Section]
    cautions: list[Row]
    notice: str
    texts: str
    verifying: list[Row]
