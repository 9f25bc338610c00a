"""A step under power in words: what to do, where, why, and what to mind."""

from __future__ import annotations

from coppermend.core.belief.suspects.field import Field
from coppermend.core.belief.suspects.posterior import MISREADING
from coppermend.core.belief.suspects.reasons import place_words
from coppermend.core.planning.suspects_next import SuspectStep
from coppermend.core.planning.suspects_starts import TIMES

CAUTION_ON = (
    "Power is on: one hand, one probe, a tip that cannot slip to the next pin. "
    "Keep away from mains and picture-tube parts: leave them to people qualified for it and follow your local rules."
)
CAUTION_OFF = "Power off, supply unplugged, large capacitors emptied before a check by ohms or beep."
CAUTION_SWAP = "Power off before a part goes out or in; mind its notch, and static."
CAUTION_HEAT = (
    "Power is on: touch nothing, parts can burn fingers, and a hot cell or capacitor can burst: power off, keep away. 5 to 10 minutes after power on, "
    "without draught. Keep clear of mains and picture tubes: qualified people, local rules."
)
CAUTION_START = (
    "Current limited, a hand at the switch: off at smoke, smell or more current than the abort value. "
    "Mains and picture-tube parts are for people qualified for them; follow your local rules."
)
CAUTION_PRESS = (
    "Power is on: press with a dry wooden or plastic stick, not with a finger or metal, one part at a time, never near mains or the picture tube: those are for "
    "people qualified for them, by your local rules."
)
CAUTION_TOP = (
    "Power off while the good part is set on top: same type, notch on notch (a capacitor + on +: the wrong way round it can burst), every leg on its leg, "
    "supply on supply; off again at the first warmth."
)
CAUTION_REPLACE = (
    "Cannot be undone: the owner has agreed. Power off and unplugged; hot solder, lead and flux fumes: your local rules first. "
    "Plan it: coppermend removal plan CASE PART."
)
SIDES = {"c": "component side", "s": "solder side"}
CAUTION_SPRAY = (
    "Freeze spray: frostbite, and many kinds burn: spray with power off, no sparks, fresh air, eyes covered, then current limited and a hand at the switch. "
    "Keep away from mains and picture-tube parts: qualified people, local rules."
)
RISKS = {
    "check": "no power, so next to none",
    "apart": "no power, so next to none",
    "heat": "nothing is touched; the board is on for some minutes",
    "look": "a tip that slips joins two live pins",
    "rail": "a tip that slips joins two live pins",
    "wave": "a clip that slips joins two live pins; put clips on with power off",
    "sink": "a tip at every pin of the net under power",
    "swap": "a bent pin, static, and one power-up more",
    "start": "one power-up more",
    "inspect": "nothing is touched",
    "repeat": f"{TIMES} power-ups more",
    "spray": f"{TIMES} power-ups more, and cold that bites and may burn",
    "reseat": "a bent pin, static, and one power-up more",
    "press": "a stick near live pins",
    "piggyback": "two outputs that fight for some seconds, a leg on the wrong pin",
    "replace": "a lifted land, heat; it cannot be undone",
}
"""A step's risk in words; the numbers are ``suspects_next.HARM``."""


def step_words(made: Field, step: SuspectStep) -> str:
    """What to do, in one sentence."""
    places = [place_words(made, net, node) for net, node in step.spots]
    if step.kind == "wave":
        return f"Record a wave at {len(places)} points, triggered by reset: {', '.join(places)}."
    if step.kind == "look":
        how = (
            "Look with the scope, and read the frequency, at"
            if step.judged
            else "Look with the logic probe or the scope at"
        )
        return f"{how} {places[0]}."
    if step.kind == "rail":
        first = f" A known-good {step.part} goes in only once it is right." if step.part else ""
        return f"Measure the voltage at {places[0]}.{first}"
    if step.kind == "check":
        return f"Power off; check continuity from {places[0]} to {places[1]}."
    if step.kind == "apart":
        return f"Power off; check that {places[0]} and {places[1]} are apart."
    if step.kind == "sink":
        return (
            f"Compare millivolts at the pins of net {step.spots[0][0]}: a pin that holds it low is lowest, one that holds it high is highest. "
            "Note the one that stands out (level PIN holds), or that none does (level PIN even)."
        )
    if step.kind == "heat":
        return f"Take a thermal picture of the component side; what tells most: {', '.join(step.parts)}."
    if step.kind == "repeat":
        return (
            f"Start it {TIMES} times, off in between, and count how often it starts as it should (coppermend starts)."
        )
    if step.kind == "spray":
        return f"Cool {step.part} with freeze spray, start it {TIMES} times, cooling it again each time, and count the good starts (coppermend starts)."
    if step.kind == "inspect":
        return f"Power off; look over {step.part}, {SIDES[step.parts[1]]}, place after place (coppermend look)."
    if step.kind == "reseat":
        return f"Power off; press {step.part} out of its socket and in again, power on, look whether it starts."
    if step.kind == "press":
        return f"Press {step.part} gently at both ends in turn and look whether anything changes."
    if step.kind == "piggyback" and _capacitor(made, step.part):
        return (
            f"Power off; hold a good capacitor of about its value and at least its voltage across {step.part}, + on +, "
            "power on, look whether the rail comes up or anything else changes."
        )
    if step.kind == "piggyback":
        return f"Power off; hold a good chip of the same type on top of {step.part}, power on, look whether anything changes."
    if step.kind == "replace":
        return f"Power off; take {step.part} out, put a good one in, power on, look whether it starts."
    if step.kind == "start":
        return "Power up and note what the start shows."
    return f"Power off; put a known-good {step.part} in, power on, look whether it starts."


def _capacitor(made: Field, part: str) -> bool:
    row = made.behaviour.circuit.by_ref.get(part)
    return row is not None and row.role == "capacitor"


def step_reason(step: SuspectStep, share: float) -> str:
    """Why this step: what it tells for its time."""
    if step.rivals == (MISREADING,):
        return {
            "check": "What is about to be named rests on one beep: check it once more, between other places where it can be, tips clean.",
            "apart": "What is about to be named rests on one check that two nets are joined or apart: take it again, tips clean.",
            "sink": "What is about to be named rests on millivolts compared once: compare them again.",
        }.get(step.kind, "What is about to be named rests on this one reading: take it again.")
    if step.rivals:
        return (
            f"The readings speak as much for {len(step.rivals)} other unit(s), only the priors are against them; "
            f"this look tells them apart, in about {step.seconds:.0f} s (modelled)."
        )
    told = f"It is expected to tell {step.gain_bits:.2f} bits about what is wrong, in about {step.seconds:.0f} s (modelled); no other step tells more for its time."
    return (
        told if share > 0.9995 else f"{told} Reckoned over {100 * share:.1f} % of the belief; the rest is spread thin."
    )


def step_caution(step: SuspectStep) -> str:
    """What to mind."""
    others = {
        "check": CAUTION_OFF,
        "apart": CAUTION_OFF,
        "inspect": CAUTION_OFF,
        "repeat": CAUTION_START,
        "spray": CAUTION_SPRAY,
        "swap": CAUTION_SWAP,
        "reseat": CAUTION_SWAP,
        "press": CAUTION_PRESS,
        "piggyback": CAUTION_TOP,
        "replace": CAUTION_REPLACE,
        "heat": CAUTION_HEAT,
        "start": CAUTION_START,
    }
    return others.get(step.kind, CAUTION_ON)


def step_risk(step: SuspectStep) -> str:
    """What can go wrong, in words and in seconds of expected harm.

    >>> step_risk(SuspectStep("heat", (), 90.0, 1.0))
    'nothing is touched; the board is on for some minutes'
    >>> step_risk(SuspectStep("swap", (), 210.0, 1.0, "U1", risk_s=36.0))
    'a bent pin, static, and one power-up more (weighed as 36 s)'
    """
    seconds = f" (weighed as {step.risk_s:.3g} s)" if step.risk_s else ""
    return f"{RISKS[step.kind]}{seconds}"
