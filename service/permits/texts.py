"""Who asks for a permit's reports: the permit itself, else the rule packs of its region. Pure."""

from collections.abc import Iterator, Sequence
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from service.deadlines.models import RuleApplied
from service.packs.models import Exemption, NewPack, ReportDue, ReportPeriod
from service.packs.rules import covers, in_force, is_of
from service.permits.models import Permit


class Text(Struct, frozen=True, kw_only=True):
    """What asks for reports: the permit itself or a pack, in its words, as a rule that sets no instant yet."""

    rule: RuleApplied
    periods: list[ReportPeriod]
    nil: bool | None
    pack: NewPack | None = None

    def holds(self, day: date) -> bool:
        """Whether it is in force on a local date."""
        return self.pack is None or in_force(self.pack, day)


def texts_of(permit: Permit, packs: Sequence[NewPack]) -> Iterator[Text]:
    """The permit's own words on its reporting year, else those of packs; what it says of nil reports counts for all."""
    of_packs = [
        _of_pack(permit, pack, rule)
        for pack in packs
        if covers(pack, permit.region, None, None)
        for rule in pack.rules
        if isinstance(rule, ReportDue) and _bears_on(rule, permit)
    ]
    if permit.report_nil is not None:
        of_packs = [replace(one, nil=permit.report_nil) for one in of_packs]
    if not permit.report_periods:
        yield from of_packs
        return
    own = RuleApplied(
        rule=f"Permit {permit.number}: reports by its own reporting year",
        rule_name="permit/report_due",
        kind="report_due",
        state="law",
        authority=permit.authority,
        citation=f"Permit {permit.number}",
    )
    nil = permit.report_nil if permit.report_nil is not None else nil_of(of_packs)
    yield Text(rule=own, periods=permit.report_periods, nil=nil)


def _of_pack(permit: Permit, pack: NewPack, rule: ReportDue) -> Text:
    applied = RuleApplied(
        rule=f"{pack.authority}: {rule.sentence.rstrip('.')}",
        rule_name=f"{pack.name}/{rule.id}",
        kind="report_due",
        state=pack.state,
        pack=pack.name,
        authority=pack.authority,
        citation=pack.citation,
        text_as_of=pack.text_as_of,
        verified_on=pack.verified_on,
        reviewed_by=pack.reviewed_by,
        exempted_by=next(
            (
                f"{pack.name}/{one.id}"
                for one in pack.rules
                if isinstance(one, Exemption) and _leaves_out(one, rule, permit)
            ),
            None,
        ),
    )
    return Text(rule=applied, periods=rule.periods, nil=rule.nil, pack=pack)


def _bears_on(rule: ReportDue, permit: Permit) -> bool:
    """Whether a rule's animals and mechanisms share any with the permit's; either may name none, which is all."""
    mechanisms = not rule.mechanisms or not permit.mechanisms or set(rule.mechanisms) & set(permit.mechanisms)
    species = (
        not rule.species
        or not permit.species
        or any(
            is_of(one, rule.species) or any(is_of(taxon, [one]) for taxon in rule.species)
            for one in permit.species
        )
    )
    return bool(mechanisms and species)


def _leaves_out(exemption: Exemption, rule: ReportDue, permit: Permit) -> bool:
    """Whether an exemption takes all that the permit is for out of a rule."""
    if exemption.of and rule.id not in exemption.of:
        return False
    species = bool(permit.species) and all(is_of(one, exemption.species) for one in permit.species)
    mechanisms = bool(permit.mechanisms) and set(permit.mechanisms) <= set(exemption.mechanisms)
    return (species or not exemption.species) and (mechanisms or not exemption.mechanisms)


def nil_of(texts: Sequence[Text]) -> bool | None:
    """Yes where any text asks for it, which is the safe side; None where none says."""
    said = [one.nil for one in texts if one.nil is not None and one.rule.exempted_by is None]
    return any(said) if said else None
