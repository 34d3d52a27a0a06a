"""What is to be heeded at a set: its row, shown with the cautions that it and its property call up. Pure."""

from operator import attrgetter

from service.cautions.models import Met
from service.cautions.rules import cautions_for
from service.deadlines.why import NOTICE
from service.sets.models import IN_THE_GROUND, SetFound, SetRow, SetShown

# of a set whose placing nobody stated it is not known that it was fetched
MAY_STAND = ("awaited", *IN_THE_GROUND)
NAMES = SetRow.__struct_fields__
# all in one call: a page has a hundred of them
known_of = attrgetter(*NAMES)


def shown(found: SetFound) -> SetShown:
    """The set with its cautions; one that was pulled, moved or lost has none."""
    known = dict(zip(NAMES, known_of(found), strict=True))
    cautions = cautions_for(met_at(found)) if found.state in MAY_STAND else ()
    return SetShown(**known, cautions=list(cautions), notice=NOTICE)


def met_at(found: SetFound) -> Met:
    """What is met with at the set; the target is its own, else its job's."""
    return Met(
        mechanism=found.mechanism,
        target=found.target or found.job_target,
        hazards=found.hazards,
        foot_traffic=found.foot_traffic,
        depth_mm=found.depth_mm,
        cover_on_turf=bool(found.cover_on_turf),
        undermined_paving=found.undermined_paving,
    )
