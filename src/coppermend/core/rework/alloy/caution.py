"""What to mind when alloys are mixed in a joint: soft remainders, bismuth with lead, flux, lead, tin-silver-copper."""

from __future__ import annotations

from coppermend.core.rework.alloy.answer import modelled_part
from coppermend.core.rework.alloy.composition import Alloy
from coppermend.core.rework.alloy.freezing import freezing

WARM_C = 100.0
"""What freezes below this is told: parts and their joints get so warm in use (voltage regulators, power resistors). Common practice, no source."""

WORTH_TELLING = 0.005

LEAVE_NOTHING = "An alloy fed in for removal is for removal only: take all of it out, clean, and solder the new part with fresh solder."
LEAD_CAUTION = (
    "The solder holds lead: wash your hands before you eat or smoke, no food at the bench, do not sand or grind joints."
)
FLUX_CAUTION = "Flux is needed for the alloys to run together; its fume irritates lungs and eyes: draw it off, keep your head out of the plume."
HOT_CAUTION = "Molten solder runs for longer than you are used to: keep the board level, wear eye protection, keep hands from below it."
RULES = "Follow your local rules; leave mains and tube work to people qualified for it."


def soft_remainder(of: Alloy) -> tuple[float, float] | None:
    """Share by mass (0 to 1) that freezes last and at how many degC, when that is below ``WARM_C`` and the joint cools without evening out.

    None when the alloy has no bismuth with lead, or too little to tell.
    """
    if of.share("Bi") <= 0 or of.share("Pb") <= 0 or of.share("Sn") <= 0:
        return None
    found = freezing(modelled_part(of))
    if found.last_c > WARM_C or found.last_share < WORTH_TELLING:
        return None
    return found.last_share, found.last_c


def warnings_for(joint: Alloy, added: Alloy | None = None) -> tuple[str, ...]:
    """The warnings that belong to a joint of this alloy, the weightiest first; cautions of flux, lead and heat last.

    >>> from coppermend.core.rework.alloy.composition import read_alloy
    >>> warnings_for(read_alloy("Sn99.3Cu0.7"))[0][:4]
    'Flux'
    """
    words: list[str] = []
    soft = soft_remainder(joint)
    if soft is not None:
        words.append(
            f"Bismuth with lead: as the joint cools, up to {100 * soft[0]:.1f} % of it stays liquid down to the ternary eutectic "
            f"(model {soft[1]:.0f} degC, measured 95 to 96 degC). Left in a joint that gets warm it softens or cracks."
        )
    if joint.share("Bi") > 0 and joint.share("Pb") <= 0:
        words.append(
            "Bismuth solder makes the 96 degC eutectic as soon as it meets lead: on a board with tin-lead solder count on it."
        )
    mixed = added is not None and added.name != joint.name
    if mixed and joint.share("Pb") > 0 and any(joint.share(one) > 0 for one in ("Ag", "Cu")):
        words.append("Tin-silver-copper and tin-lead in one joint melt over a wide range: heat until all of it runs.")
    if added is not None and (added.share("Bi") > 0 or added.share("In") > 0):
        words.append(LEAVE_NOTHING)
    if joint.share("Pb") > 0:
        words.append(LEAD_CAUTION)
    return (*words, FLUX_CAUTION, HOT_CAUTION, RULES)
