"""The steps of getting a part out, each with where it comes from and what to mind."""

from __future__ import annotations

from coppermend.core.rework.rules import Rule

IRON = "rework advice quoted in docs/sources.md (iron 316 to 371 degC, no downward pressure, full melt before pulling)"
PREHEAT = "preheat advice quoted in docs/sources.md (75 to 125 degC, at most Tg less 10 K)"
FUME = "HSE INDG248 for rosin fume (docs/sources.md); lead: common practice, no source"
PRACTICE = "common practice, no source"

REMOVAL_STEPS = (
    Rule("power", "Power off, supply unplugged, rails measured empty; earth yourself and the board.", PRACTICE),
    Rule(
        "air",
        "Draw flux fumes off and do not breathe them; old solder holds lead: wash your hands, no food at the bench. "
        "Follow your local rules.",
        FUME,
    ),
    Rule(
        "look",
        "Photograph both sides; note which way pin 1 points and what is bent, scorched or wired already.",
        PRACTICE,
    ),
    Rule(
        "shield",
        "Take cells near the place out; shield plastic and electrolytics before hot air; take socketed chips nearby out.",
        PRACTICE,
    ),
    Rule(
        "preheat",
        "Where a pin asks for it, bring the board slowly to its preheat temperature, from below, and keep it there.",
        PREHEAT,
    ),
    Rule(
        "joint",
        "Fresh solder and flux on every old joint first; then joint by joint in the order given. Iron at 316 to 371 degC, "
        "no downward pressure, three to five seconds, then let it cool. The iron and the joint burn.",
        IRON,
    ),
    Rule(
        "free",
        "Every pin must move freely in its hole before anything is lifted. A pin that holds is heated again, never pulled: "
        "lands lift with it.",
        IRON,
    ),
    Rule(
        "part",
        "If the part is dead anyway, cut its legs above the board and take each out singly: that heats the board least.",
        PRACTICE,
    ),
    Rule(
        "under",
        "Do not lever or scrape under the part where tracks are named; lift straight up.",
        PRACTICE,
    ),
    Rule(
        "after",
        "Wick the holes clean, wash the flux off, look at every land under the lens, photograph; then mark the work area "
        "and run its round before the new part goes in.",
        PRACTICE,
    ),
)
