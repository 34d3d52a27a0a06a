"""A rule pack: what one text that was read asks, allows or leaves out, where and since when."""

from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct, field

from service.kernel.values import LINE, Instant, LocalDate, Mechanism, Name, Region

PackState = Literal["law", "caution", "practice"]
LookedBy = Literal["setter", "worker", "customer", "agent"]
# what a monitor or a person told of a set: it was sprung, an animal was seen in it, the monitor works
Word = Literal["alarm", "notice", "last_contact"]
About = Literal["look", "permission", "marking", "carcass", "licence", "fate", "digging", "method"]

RuleId = Annotated[
    str, Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=64, description="unique in its pack")
]
PackName = Annotated[
    str, Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=64, description="the text that was read")
]
Taxon = Annotated[
    str,
    Meta(pattern=r"^[A-Z][a-z]+( [a-z-]+){0,2}$", max_length=100, description="a genus, or a binomial in it"),
]
PartialDate = Annotated[
    str,
    Meta(
        pattern=r"^[0-9]{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12][0-9]|3[01]))?)?$",
        description="a date, a month or a year, e.g. 2024-03",
    ),
]
MonthDay = Annotated[
    str,
    Meta(
        pattern=r"^((0[1-9]|1[0-2])-(0[1-9]|[12][0-9])|(0[13-9]|1[0-2])-30|(0[13578]|1[02])-31)$",
        description="month and day, e.g. 07-31; 02-29 is the last day of February in every year",
    ),
]
Hours = Annotated[int, Meta(ge=1, le=336, description="hours")]
Sentence = Annotated[str, Meta(min_length=1, max_length=500, pattern=LINE)]


class _Rule(
    Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True, tag_field="kind"
):
    """What every rule says: in its own words, for which mechanisms and animals (none named: for all).

    With `under_permit` it covers only sets of a job that is done under a permit.
    """

    id: RuleId
    sentence: Sentence
    mechanisms: Annotated[list[Mechanism], Meta(max_length=10)] = field(default_factory=list)
    species: Annotated[list[Taxon], Meta(max_length=50)] = field(default_factory=list)
    under_permit: bool = False


class CalendarDay(_Rule, frozen=True, kw_only=True, tag="calendar_day"):
    """One look on every local calendar day, or on one of every `days`; the setting is its own day's look."""

    days: Annotated[int, Meta(ge=1, le=14, description="local calendar days")] = 1


class Elapsed(_Rule, frozen=True, kw_only=True, tag="elapsed"):
    """A look within so many hours of the setting or the last look; real hours, also across a clock change."""

    hours: Hours


class LatestHour(_Rule, frozen=True, kw_only=True, tag="latest_hour"):
    """A look on the next local day by this hour of the clock."""

    hour: Annotated[int, Meta(ge=1, le=23, description="local hour of the day")]


class AfterSunrise(_Rule, frozen=True, kw_only=True, tag="after_sunrise"):
    """A look on the next local day within so many hours after sunrise at the property."""

    hours: Hours


class SinceWord(_Rule, frozen=True, kw_only=True, tag="since_word"):
    """A look within so many hours of an alarm, a notice of a capture, or the last contact of a monitor.

    `part_of_day` confines it to words that come by day or by night; with `from_sunrise` the hours count from
    the next sunrise. While a word is known, the rules of this pack named in `instead_of` do not apply.
    """

    word: Word
    hours: Hours
    part_of_day: Literal["any", "day", "night"] = "any"
    from_sunrise: bool = False
    instead_of: Annotated[list[RuleId], Meta(max_length=20)] = field(default_factory=list)


class Qualitative(_Rule, frozen=True, kw_only=True, tag="qualitative"):
    """What a text asks without a figure ("regularly"), or beside the looks: shown, never computed."""

    about: About = "look"


class Exemption(_Rule, frozen=True, kw_only=True, tag="exemption"):
    """Mechanisms or animals that the text leaves out: its other rules, or those named, do not cover them."""

    of: Annotated[list[RuleId], Meta(max_length=20)] = field(default_factory=list)


class NotPermitted(_Rule, frozen=True, kw_only=True, tag="not_permitted"):
    """Mechanisms, animals or one with the other that are not permitted here; a warning names the authority."""


class PermittedOnly(_Rule, frozen=True, kw_only=True, tag="permitted_only"):
    """An allow-list: mechanisms that are not on it are not permitted."""


class Protected(_Rule, frozen=True, kw_only=True, tag="protected"):
    """Animals that are protected here, however they are taken."""


class WhoMayLook(_Rule, frozen=True, kw_only=True, tag="who_may_look"):
    """Whose look counts: the worker who set it, any worker, the customer, an agent."""

    accepts: Annotated[list[LookedBy], Meta(min_length=1, max_length=4)]


class ReportPeriod(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A reporting period by its last day, and the day by whose end its report is due next after it."""

    ends: MonthDay
    due: MonthDay


class ReportDue(_Rule, frozen=True, kw_only=True, tag="report_due"):
    """A report of animals taken under a permit. Without periods: what the text says is not known to the day.

    With `nil` it is due also where nothing was taken.
    """

    periods: Annotated[list[ReportPeriod], Meta(max_length=12)] = field(default_factory=list)
    nil: bool = False


class KeepFor(_Rule, frozen=True, kw_only=True, tag="keep_for"):
    """How long something is kept, in years; `property_kinds` confines it to kinds of properties."""

    what: Literal["affidavit", "pesticide_use_record", "organic_record", "service_record"]
    years: Annotated[int, Meta(ge=1, le=100, description="years")]
    property_kinds: Annotated[list[Name], Meta(max_length=20)] = field(default_factory=list)


LookRule = CalendarDay | Elapsed | LatestHour | AfterSunrise | SinceWord
Rule = (
    CalendarDay
    | Elapsed
    | LatestHour
    | AfterSunrise
    | SinceWord
    | Qualitative
    | Exemption
    | NotPermitted
    | PermittedOnly
    | Protected
    | WhoMayLook
    | ReportDue
    | KeepFor
)


class NewPack(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """One text as it was read: where it holds, who stands behind it, since when, and what it says.

    `sub_areas` are counties or the like, `places` cities inside the region; none named: all of it, but for
    `except_areas`, counties or cities where another text speaks. The text is
    of `text_as_of` (null where the copy names no date) and was read on `verified_on`; `reviewed_by` is empty
    until a person who practises law or the trade there has looked at it. `effective_until` is exclusive.
    """

    name: PackName
    region: Region
    sub_areas: Annotated[list[Name], Meta(max_length=200)] = field(default_factory=list)
    places: Annotated[list[Name], Meta(max_length=200)] = field(default_factory=list)
    except_areas: Annotated[list[Name], Meta(max_length=200)] = field(default_factory=list)
    authority: Name
    citation: Sentence
    text_as_of: PartialDate | None = None
    verified_on: LocalDate
    reviewed_by: Name | None = None
    state: PackState
    effective_from: LocalDate | None = None
    effective_until: LocalDate | None = None
    rules: Annotated[list[Rule], Meta(min_length=1, max_length=100)]


class Pack(NewPack, frozen=True, kw_only=True, forbid_unknown_fields=False):
    """A business's own pack as kept; a row of it may bring along whose it is."""

    id: UUID
    version: int
    received_at: Instant


class PackShown(NewPack, frozen=True, kw_only=True):
    """A pack as it is read: one that comes with the package, or the business's own with its version.

    `reading` says how old the reading of the text is, and whether anybody has reviewed it.
    """

    id: UUID
    origin: Literal["shipped", "own"]
    version: int | None = None
    received_at: Instant | None = None
    reading: str
    notice: str


class PackWritten(PackShown, frozen=True, kw_only=True):
    """A pack of the business that was added, amended or withdrawn.

    `properties_queued` counts the properties that lie in its region, or lay in it before: their deadlines are
    being worked out anew, closed ones too.
    """

    properties_queued: int
