"""The method register, as data with its grounds, and the class of a method. Pure.

Read in published copies of the law; not legal advice. Local codes and licensed practice come first.
"""

import re

from service.methods.models import MethodClass

DEVICE = "A trap is a device, not a pesticide: FIFRA § 2(h), 40 CFR 152.500(a); 7 CFR 205.206(b)(3)"
PESTICIDE = "FIFRA § 2(u): what is meant to repel, kill or mitigate a pest is a pesticide"

REGISTER = (
    MethodClass(
        name="mechanical_trap",
        said="mechanical trap",
        breaks_claim=False,
        ground=DEVICE,
        methods=frozenset({"scissor_jaw", "harpoon", "choker_loop", "two_prong_pincer", "snap", "box"}),
    ),
    MethodClass(
        name="live_capture",
        said="live capture",
        breaks_claim=False,
        ground=DEVICE,
        methods=frozenset({"live_tunnel", "cage", "net"}),
    ),
    MethodClass(
        name="hand_removal",
        said="removal by hand",
        breaks_claim=False,
        ground="7 CFR 205.206(b)(3): mechanical and physical methods",
        methods=frozenset({"by_hand", "hand", "dug_out"}),
    ),
    MethodClass(
        name="exclusion",
        said="exclusion or habitat change",
        breaks_claim=False,
        ground="7 CFR 205.206(a), (b): sanitation, habitat and physical controls",
        methods=frozenset(
            {"mesh", "barrier", "fence", "habitat_change", "sanitation", "flooding_with_water"}
        ),
    ),
    MethodClass(
        name="minimum_risk_pesticide",
        said="minimum-risk pesticide",
        breaks_claim=True,
        ground=f"{PESTICIDE}; 40 CFR 152.25(f) only spares it registration",
        methods=frozenset(
            {
                "castor_oil",
                "cedarwood_oil",
                "citronella_oil",
                "clove_oil",
                "garlic_oil",
                "geranium_oil",
                "lemongrass_oil",
                "peppermint_oil",
                "rosemary_oil",
                "spearmint_oil",
                "thyme_oil",
            }
        ),
    ),
    MethodClass(
        name="registered_pesticide",
        said="registered pesticide",
        breaks_claim=True,
        ground=PESTICIDE,
        methods=frozenset(
            {
                "repellent",
                "bait",
                "poison_bait",
                "rodenticide",
                "fumigant",
                "gas_cartridge",
                "treated_seed",
                "aluminium_phosphide",
                "aluminum_phosphide",
                "zinc_phosphide",
                "strychnine",
            }
        ),
    ),
    MethodClass(
        name="device_without_substance",
        said="device without substance, which states judge differently",
        breaks_claim=True,
        ground="3 CCR 6695 and FAC § 6025.4 treat carbon monoxide devices as pest control; states differ",
        methods=frozenset({"engine_exhaust", "carbon_monoxide", "explosive_gas", "sound_device"}),
    ),
)
UNCLASSIFIED = MethodClass(
    name="unclassified",
    said="not on the method register",
    breaks_claim=True,
    ground="Taken for a pesticide until it is classed with a ground",
    methods=frozenset(),
)
_CLASS_OF = {method: one for one in REGISTER for method in one.methods}


def class_of(method: str) -> MethodClass:
    """The class of a method as people write it; what is not on the register breaks the claim."""
    return _CLASS_OF.get(re.sub(r"[^a-z0-9]+", "_", method.lower()).strip("_"), UNCLASSIFIED)
