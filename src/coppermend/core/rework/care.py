"""Cleaning and protection as steps: what to do, in which order, what to mind, how long it takes, and where each step comes from.

``Procedure`` a piece of work such as cleaning up after a leaked cell; ``Step`` one act in it that is ticked when it is done. Sources: copies read
are named in docs/sources.md; what no source says is marked so.
"""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.findings import Place, refuse
from coppermend.core.rework.removal_steps import FUME, IRON, PRACTICE, PREHEAT
from coppermend.core.rework.rules import GUIDES

COLLECTORS = "a collector's page on battery corrosion (docs/sources.md)"
LISTS = "collectors' mailing list and forum (docs/sources.md)"
TROUBLE = "common practice; the order after a university course's troubleshooting guide (docs/sources.md)"
MEMORY = "from memory (rework guides after IPC-7721 describe it; the text was not readable)"

HOURS = 3600.0


@dataclass(frozen=True, slots=True)
class Step:
    """One step: ``key`` for the log, what to do in ``words``, ``source``, what to ``mind`` right there, seconds to ``wait_s`` after it, ``photo`` asked for,
    ``act`` of those that cannot be undone ("" none)."""

    key: str
    words: str
    source: str = PRACTICE
    mind: tuple[str, ...] = ()
    wait_s: float = 0.0
    photo: bool = False
    act: str = ""

    def as_dict(self) -> dict[str, object]:
        """The step as plain JSON values."""
        return {
            "step": self.key,
            "words": self.words,
            "source": self.source,
            "mind": list(self.mind),
            "wait_s": self.wait_s,
            "photo": self.photo,
        }


@dataclass(frozen=True, slots=True)
class Procedure:
    """A piece of work: ``key`` for the log, its ``title``, ``when`` it is the right one, and its ``steps`` in order."""

    key: str
    title: str
    when: str
    steps: tuple[Step, ...]

    def step(self, key: str) -> Step:
        """The step with that key. Refusal CAR-002 when the procedure has none."""
        for one in self.steps:
            if one.key == key.strip().lower():
                return one
        raise refuse(
            "CAR-002",
            f"{self.title} has no step {key!r}.",
            f"Its steps are {', '.join(one.key for one in self.steps)}.",
            Place(thing=self.key),
        )


OFF = Step(
    "power",
    "Power off, supply unplugged, rails measured empty; the cell or battery still on the board is a supply too.",
    PRACTICE,
    ("Leave mains and tube work to people qualified for it; follow your local rules.",),
)
FUMES = "Draw flux fumes off; old solder holds lead: wash your hands, no food at the bench. Follow your local rules."

CELL = Procedure(
    "cell",
    "After a leaked cell",
    "Blue-green or white deposits, dull solder, lifted mask near a cell: nickel-cadmium, nickel-metal hydride or alkaline.",
    (
        OFF,
        Step(
            "guard",
            "Gloves and eye protection on; cover the bench; keep the dust down. Find out what kind of cell it is.",
            COLLECTORS,
            (
                "The leaked liquid of these cells is caustic (potassium hydroxide): rinse skin or eyes with much water at once and get help.",
                "A lithium cell or a capacitor leaks something else: do not treat it with acid. Do not pierce, short or heat a cell.",
            ),
        ),
        Step("before", "Photograph the place before anything is wiped off.", PRACTICE, (), 0.0, True),
        Step(
            "out",
            "Take the cell out: cut its legs, or unsolder it cool and quickly. Put it into a bag and dispose of it by your local rules.",
            COLLECTORS,
            ("Never solder at a swollen cell; a hot cell can burst.", FUMES),
        ),
        Step(
            "brush",
            "Brush loose deposits off dry, into a damp cloth.",
            PRACTICE,
            ("The dust holds metal salts: do not breathe it.",),
        ),
        Step(
            "neutralise",
            "Neutralise: a little white vinegar on a soft brush, until nothing fizzes any more. Only where the cell leaked.",
            COLLECTORS,
            (
                "Vinegar attacks copper: minutes, not hours. Some prefer a board cleaner to vinegar for that reason.",
                "Keep it out of switches, transformers and sockets.",
            ),
        ),
        Step(
            "rinse",
            "Rinse all vinegar out: distilled water, with a little bicarbonate first, then clear; several times.",
            LISTS,
            ("Vinegar left behind goes on eating the copper.",),
        ),
        Step(
            "alcohol",
            "Rinse with isopropyl alcohol (99 %), brush, let it run off.",
            COLLECTORS,
            ("It burns: no flame, no hot iron, no sparks, air in the room.",),
        ),
        Step(
            "dry",
            "Blow it out and let it dry a day or two, sockets and the undersides of chips too.",
            COLLECTORS,
            ("Warm air at most hand-warm.",),
            24 * HOURS,
        ),
        Step(
            "look",
            "Look at every track under the lens: lifted mask, dark spots (bare laminate), thin necks, eaten legs. Scrape loose mask off down to bright copper: "
            "residue under it creeps on.",
            LISTS,
            (),
            0.0,
            True,
        ),
        Step(
            "area",
            "Mark the place as a work area of kind corrosion and run its round: every track in it is checked, not only those that look bad.",
            LISTS,
        ),
        Step(
            "protect",
            "When all is proven and mended: cover bare copper (procedure mask). Put the new cell elsewhere, on wires.",
            LISTS,
        ),
    ),
)

LAND = Procedure(
    "land",
    "A lifted land",
    "A land stands off the board, or came off with the part.",
    (
        OFF,
        Step("before", "Photograph it under the lens. Do not pull, press or heat it again.", PRACTICE, (), 0.0, True),
        Step(
            "clean", "Flux and dirt off with alcohol; wick old solder off the land without pressing.", MEMORY, (FUMES,)
        ),
        Step(
            "judge",
            "Whole and its track sound: bond it. Torn, or its track cracked at the neck: cut the loose part off where the copper still bonds.",
            MEMORY,
        ),
        Step(
            "bond",
            "Bond a whole land: a thin film of epoxy made for boards under it, pressed flat with something solder and glue do not stick to.",
            MEMORY,
            ("Uncured resin irritates the skin: gloves, air.",),
        ),
        Step(
            "cure",
            "Let it cure as its sheet says before heat comes near.",
            "the adhesive's own sheet",
            (),
            4 * HOURS,
        ),
        Step(
            "wire",
            "A lost land: lead a wire from the pin to the next sound place of the net (coppermend wire plan), or lap it onto the bared track over at least "
            "two track widths.",
            GUIDES,
            (FUMES,),
        ),
        Step(
            "prove", "Prove it: the bridge, what lies beyond it, isolation from the neighbours (coppermend wire prove)."
        ),
        Step("protect", "Cover bare copper (procedure mask); photograph.", PRACTICE, (), 0.0, True),
    ),
)

BARREL = Procedure(
    "barrel",
    "A through-hole whose barrel is gone",
    "The plating of a hole came out with the pin, or a via does not pass the board any more.",
    (
        OFF,
        Step(
            "judge",
            "Which layers met in this hole? (coppermend board graph, the net's page.) Inner layers that only met here must be joined elsewhere.",
            MEMORY,
        ),
        Step("clean", "Clear the hole without drilling: wick, a wooden pick, flux off with alcohol.", MEMORY, (FUMES,)),
        Step(
            "both",
            "A pin whose both sides can be reached: solder it on both sides, where lands are left. A via: a bare wire through it, bent flat over both lands, soldered.",
            MEMORY,
            ("Three to five seconds a joint; a land without its barrel lifts soonest.",),
        ),
        Step(
            "round",
            "A pin whose upper joint hides under its socket: a wire from its lower joint to the next place of the upper track (coppermend wire plan).",
            MEMORY,
            (FUMES,),
        ),
        Step(
            "prove",
            "Prove both sides and each inner layer that met here: reading from side to side, then to the next point of each track.",
        ),
        Step(
            "note",
            "Note what was done: solder, patch, or a map correction where the hole no longer joins. Photograph.",
            PRACTICE,
            (),
            0.0,
            True,
        ),
    ),
)

MASK = Procedure(
    "mask",
    "Cover repaired copper",
    "Copper lies bare after scraping, cleaning or soldering, and all of it is proven.",
    (
        OFF,
        Step("proven", "Only what is proven is covered: finish the round of the place first.", PRACTICE),
        Step(
            "clean",
            "Alcohol, a soft brush, dry. Fingers off.",
            PRACTICE,
            ("Alcohol burns: no flame, no hot iron, air in the room.",),
        ),
        Step(
            "keep",
            "Keep free: lands that a part, a clip or a probe needs, edge contacts, holes, sockets. Tape them.",
            PRACTICE,
        ),
        Step(
            "coat",
            "A thin coat of solder-mask lacquer or board lacquer over the bare copper and a little beyond. It keeps air and bridges off.",
            "a mask maker's article for the purpose (docs/sources.md); the rest common practice",
            ("Solvent fumes: air. Light-cured lacquer: gloves, and no eye towards the lamp.",),
            act="coat",
        ),
        Step("cure", "Cure as its sheet says: light or time.", "the lacquer's own sheet", (), 0.5 * HOURS),
        Step(
            "after",
            "Check once more that nothing was joined: isolation of the place. Photograph.",
            PRACTICE,
            (),
            0.0,
            True,
        ),
    ),
)

SHORT = Procedure(
    "short",
    "Find a short with a limited current",
    "Two nets are joined and a milliohm meter is not at hand, or is too coarse.",
    (
        Step("power", "Board unpowered and unplugged, rails empty. Take out chips and parts that join both nets where they sit in sockets.", TROUBLE),
        Step(
            "limit",
            "Bench supply: set at most 0.3 V open and the current that 'coppermend short supply CASE' names, before it is clipped on.",
            PRACTICE,
            (
                "0.3 V keeps every chip's junctions off. More voltage drives current through chips and can kill them.",
                "Too much current burns the narrowest track, not the short: watch it, stop when anything warms or smells.",
            ),
        ),
        Step("clip", "Clip it on at the two named points; note the current that flows."),
        Step(
            "drop",
            "Millivolt meter: one tip on the feed point, the other along the net. The drop grows up to the short and stays the same beyond it. Both nets.",
            TROUBLE,
        ),
        Step("note", "Note each pair as the answer shows it: ohms A B 2.1mV@500mA sense P Q; 'coppermend short locate CASE' says where and what next."),
        Step(
            "warm",
            "Thermal hint: after a minute, look with a thermal camera, or lay alcohol on and see where it dries first.",
            PRACTICE,
            ("Alcohol burns: a drop, no spark, supply clipped on before it is laid on.", "Copper that warms reads 0.4 % more for each kelvin."),
        ),
        Step("off", "Supply off and unclipped before anything is touched with the iron."),
        Step("free", "Look at the place under the lens; free it: wick, a blade between the tracks, or cut and wire round (coppermend wire plan --cut)."),
        Step("prove", "Read the two nets apart, and each along itself.", PRACTICE, (), 0.0, True),
    ),
)  # fmt: skip

OUT = Procedure(
    "removal",
    "Take a part out",
    "A socket, chip, connector or capacitor comes out (coppermend removal plan).",
    (
        OFF,
        Step(
            "look",
            "Photograph both sides; note which way pin 1 points and what is bent, scorched or wired already.",
            PRACTICE,
            (),
            0.0,
            True,
        ),
        Step(
            "shield", "Take cells near the place out; shield plastic and electrolytics; take socketed chips nearby out."
        ),
        Step(
            "preheat",
            "Where a pin asks for it, bring the board slowly to its preheat temperature, from below.",
            PREHEAT,
            ("Hot plate and hot board burn. Not above the laminate's Tg less 10 K.",),
        ),
        Step(
            "joints",
            "Fresh solder and flux on every joint, then joint by joint in the planned order: 316 to 371 degC, no pressure, three to five seconds.",
            IRON,
            (FUMES,),
        ),
        Step(
            "free",
            "Every pin moves freely before anything is lifted; straight up, no lever where tracks run under the part.",
            IRON,
        ),
        Step("wick", "Wick the holes clean, flux off, look at every land under the lens.", FUME, (FUMES,), 0.0, True),
        Step("round", "Mark the work area and run its round before the new part goes in."),
    ),
)

PROCEDURES = {one.key: one for one in (CELL, LAND, BARREL, MASK, SHORT, OUT)}
"""All procedures by key."""


def procedure(key: str) -> Procedure:
    """The procedure with that key. Refusal CAR-001 when there is none.

    >>> procedure("cell").steps[5].key
    'neutralise'
    """
    found = PROCEDURES.get(key.strip().lower())
    if found is None:
        raise refuse(
            "CAR-001",
            f"There is no procedure {key!r}.",
            f"Procedures are {', '.join(PROCEDURES)}.",
        )
    return found
