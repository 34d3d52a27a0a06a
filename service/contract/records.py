"""Members of the contract's examples that stand in service records."""

from typing import Any

from service.contract.values import LEFT_OUT, id_named

_NOT_FREE = {
    "free": False,
    "from_at": "2026-05-07T17:00:00Z",
    "until_at": "2026-05-14T17:45:00Z",
    "visit_ids": [id_named("visit_id")],
    "visits_stating_none": 0,
    "broken_by": [
        {
            "id": id_named("treatment_id"),
            "method": "repellent",
            "method_class": "registered_pesticide",
            "ground": "What is meant to repel a pest is a pesticide (FIFRA § 2(u))",
            "before_tenure": False,
            "applied_at": "2026-05-12T16:00:00Z",
            "applied_by": "customer",
        }
    ],
    "why": "A repellent, a registered pesticide by FIFRA § 2(u), was used on 2026-05-12 by the customer.",
}
_NO_TURF = {"count": 0, "area_m2": None}

RECORDS: dict[str, Any] = {
    "Account.other_animals": [],
    "Account.pesticide_known_at_property": _NOT_FREE,
    "Account.statement": (
        "No pesticide was used by us in the period of this record; a treatment by others is known at the property."
    ),
    "Account.treatments_said": "listed",
    "Account.turf_figures": {
        "saved": {"count": 1, "area_m2": "0.135088"},
        "lost": _NO_TURF,
        "found_late": _NO_TURF,
        "still_lying": _NO_TURF,
        "covered": _NO_TURF,
        "opened": {"count": 1, "area_m2": "0.029452"},
        "opened_still": {"count": 1, "area_m2": "0.029452"},
    },
    "Basis.records": [],
    "BilledIn.invoice_ref": "INV-2026-0412",
    "BilledIn.billed_on": "2026-06-01",
    "Billed.invoice_ref": "INV-2026-0412",
    "Billed.billed_on": "2026-06-01",
    "Billed.record": "2026-000123.1",
    "Billed.latest": "2026-000123.1",
    "Claim.why": None,
    "ClassShown.name": "mechanical_trap",
    "ClassShown.said": "mechanical trap",
    "ClassShown.breaks_claim": False,
    "ClassShown.ground": "A trap is a device, not a pesticide: FIFRA § 2(h), 40 CFR 152.500(a), (b)",
    "ClassShown.citation": ["FIFRA § 2(h)", "40 CFR 152.500(a), (b)"],
    "ClassShown.flag": None,
    "MethodShown.name": "owl box",
    "MethodShown.origin": "own",
    "MethodShown.method_class": "exclusion",
    "MethodShown.breaks_claim": False,
    "MethodShown.ground": "7 CFR 205.206(a), (b): habitat for what preys on them, no substance",
    "NewBilled.invoice_ref": "INV-2026-0412",
    "NewBilled.billed_on": "2026-06-01",
    "NewMethod.name": "owl box",
    "NewMethod.method_class": "exclusion",
    "NewMethod.ground": "7 CFR 205.206(a), (b): habitat for what preys on them, no substance",
    "RecordAmended.billed_before": False,
    "RecordBilled.record": "2026-000123.1",
    "RegisterShown.verified_on": "2026-11-25",
    "RegisterShown.text_as_of": None,
    "RegisterShown.notice": "Pesticide-free is not licence-free; local codes and licensed practice come first.",
    "DraftShown.due_at": "2026-05-15T18:02:11Z",
    "DraftShown.reason": "held",
    "DraftShown.sentence": (
        "Held until 2026-05-15T18:02:11Z, as the business has set it; POST /v1/service-records issues it now."
    ),
    "Issuer.other_permits": [],
    "MonthContent.service_on": "2026-05-31",
    "MonthContent.until_on": "2026-06-01",
    "NewRecord.month": LEFT_OUT,
    "NewRecord.property_id": LEFT_OUT,
    "OpeningLine.area_m2": "0.029452",
    "OpeningLine.closed_at": None,
    "OpeningLine.opened_at": "2026-05-14T17:20:00Z",
    "RecordIssued.month": LEFT_OUT,
    "RecordVersion.month": None,
    "RepairLine.repaired_at": "2026-05-14T17:40:00Z",
    "SetLine.moved_from_set_id": None,
    "ToldTo.how": "in person",
    "TurfLine.earliest_from": "absent_since",
    "TurfLine.outcome": "saved",
    "TurfLine.repaired_at": None,
    "TurfLine.set_id": None,
    "TurfLine.started_at": "2026-05-14T17:05:00Z",
    "VisitContent.outcome": "done",
    "VisitContent.treatments_none": False,
    "VisitLine.outcome": "done",
    "VisitLine.treatments_none": False,
    "WithdrawnContent.statement": (
        "The visit of 2026-05-14 was withdrawn; earlier versions of its record are void."
    ),
}
