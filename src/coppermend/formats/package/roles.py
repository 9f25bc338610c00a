"""The role of a layer file from X2 file functions, from its name, and from header comments."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.formats.package.model import LayerRole, RoleKind, Source

_FUNCTION = re.compile(r"TF\.FileFunction,([^*\r\n]*)")
_POLARITY = re.compile(r"TF\.FilePolarity,(\w+)")

_SIDES = {"top": "c", "bot": "s", "bottom": "s"}
_KINDS = {
    "soldermask": RoleKind.MASK, "paste": RoleKind.PASTE, "solderpaste": RoleKind.PASTE, "legend": RoleKind.SILK,
    "profile": RoleKind.OUTLINE,
}  # fmt: skip


def from_function(fields: Sequence[str], negative: bool, source: Source) -> LayerRole:
    """The role of an X2 FileFunction.

    >>> from_function(("Copper", "L3", "Inr"), False, Source.X2).number
    3
    """
    head = fields[0].strip().lower() if fields else ""
    rest = [f.strip().lower() for f in fields[1:]]
    if head == "copper":
        number = next((int(f[1:]) for f in rest if re.fullmatch(r"l\d{1,3}", f)), None)
        side = next((_SIDES[f] for f in rest if f in _SIDES), None)
        return LayerRole(RoleKind.COPPER, side, number, negative=negative, source=source)
    if head in ("plated", "nonplated", "mixedplating"):
        numbers = [int(f) for f in rest if f.isdigit() and len(f) < 4]
        span = (numbers[0], numbers[1]) if len(numbers) > 1 else None
        plated = {"plated": True, "nonplated": False}.get(head)
        return LayerRole(RoleKind.DRILL, plated=plated, span=span, source=source)
    side = next((_SIDES[f] for f in rest if f in _SIDES), None)
    return LayerRole(_KINDS.get(head, RoleKind.OTHER), side, negative=negative, source=source)


def from_header(text: str) -> LayerRole | None:
    """The role that the file itself states by X2 attributes (also in comments); None where it does not."""
    match = _FUNCTION.search(text)
    if match is None:
        return None
    polarity = _POLARITY.search(text)
    negative = polarity is not None and polarity[1].lower() == "negative"
    return from_function(tuple(match[1].rstrip("%").split(",")), negative, Source.X2)


@dataclass(frozen=True, slots=True)
class _Rule:
    pattern: re.Pattern[str]
    kind: RoleKind
    side: str | None = None


def _rule(pattern: str, kind: RoleKind, side: str | None = None) -> _Rule:
    return _Rule(re.compile(pattern), kind, side)


_EXTENSIONS: dict[str, tuple[RoleKind, str | None]] = {
    "gtl": (RoleKind.COPPER, "c"), "gbl": (RoleKind.COPPER, "s"), "gts": (RoleKind.MASK, "c"), "gbs": (RoleKind.MASK, "s"),
    "gtp": (RoleKind.PASTE, "c"), "gbp": (RoleKind.PASTE, "s"), "gto": (RoleKind.SILK, "c"), "gbo": (RoleKind.SILK, "s"),
    "gko": (RoleKind.OUTLINE, None), "gml": (RoleKind.OUTLINE, None), "oln": (RoleKind.OUTLINE, None), "dim": (RoleKind.OUTLINE, None), "mil": (RoleKind.OUTLINE, None),
    "gpt": (RoleKind.OTHER, None), "gpb": (RoleKind.OTHER, None), "gd1": (RoleKind.OTHER, None), "gg1": (RoleKind.OTHER, None),
    "cmp": (RoleKind.COPPER, "c"), "sol": (RoleKind.COPPER, "s"), "stc": (RoleKind.MASK, "c"), "sts": (RoleKind.MASK, "s"),
    "plc": (RoleKind.SILK, "c"), "pls": (RoleKind.SILK, "s"), "crc": (RoleKind.PASTE, "c"), "crs": (RoleKind.PASTE, "s"),
    "top": (RoleKind.COPPER, "c"), "bot": (RoleKind.COPPER, "s"), "smt": (RoleKind.MASK, "c"), "smb": (RoleKind.MASK, "s"),
    "sst": (RoleKind.SILK, "c"), "ssb": (RoleKind.SILK, "s"), "spt": (RoleKind.PASTE, "c"), "spb": (RoleKind.PASTE, "s"),
    "tsp": (RoleKind.PASTE, "c"), "bsp": (RoleKind.PASTE, "s"),
    "tsm": (RoleKind.MASK, "c"), "bsm": (RoleKind.MASK, "s"), "tsk": (RoleKind.SILK, "c"), "bsk": (RoleKind.SILK, "s"),
    "gnd": (RoleKind.COPPER, None), "pwr": (RoleKind.COPPER, None), "vcc": (RoleKind.COPPER, None),
    "drd": (RoleKind.OTHER, None), "fab": (RoleKind.OTHER, None), "ast": (RoleKind.OTHER, None), "asb": (RoleKind.OTHER, None),
}  # fmt: skip
"""Endings in common use by design systems (common practice, no source)."""

_GENERAL = frozenset(("gbr", "ger", "pho", "art", "txt", "gbx"))
_TELLING = frozenset(("gtl", "gbl", "gts", "gbs", "gto", "gbo", "gtp", "gbp", "gko"))
"""Endings that tell the layer and may stand before a general one (``b.gtl.gbr``)."""

_INNER_ENDING = re.compile(r"(?:g|gp|gl|mg|art|in|ly|l|i|mid|int)(\d{1,2})l?\Z")

_TOP = r"(?:top|front|f|cmp|comp|component|c|primary|obere?|oben)"
_BOTTOM = r"(?:bottom|bot|back|b|sol|solder|s|secondary|untere?|unten|cop)"
_E = r"(?:^|[^a-z0-9])"
_Z = r"(?:$|[^a-z0-9])"


def _both(words: str, kind: RoleKind) -> list[_Rule]:
    """Rules for a thing with a side named before or after it: a side's full word beside it, then a short word or letter beside it, then a full word anywhere.

    Full words come first for both sides, so that a board called ``b`` keeps its ``b_copper_top``.
    """
    gap = "[ _.-]*"
    full = (("c", "(?:top|front|component)"), ("s", "(?:bottom|bot|back)"))
    short = (("c", _TOP), ("s", _BOTTOM))
    beside = [
        _rule(rf"{long}{gap}(?:layer{gap})?(?:{words})|(?:{words}){gap}(?:layer{gap})?{long}", kind, side)
        for side, long in full
    ]
    near = [
        _rule(pattern, kind, side)
        for side, name in short
        for pattern in (rf"{_E}{name}{gap}(?:{words})", rf"(?:{words}){gap}{name}{_Z}")
    ]
    anywhere = [_rule(rf"(?:{words}).*{_E}{long}|{_E}{long}.*(?:{words})", kind, side) for side, long in full]
    return [*beside, *near, *anywhere]


_DRAWINGS = (
    r"(?:top|bot|bottom)[ _.-]?(?:assy|assembly|fab)|(?:assy|assembly|fab)[ _.-]?(?:top|bot)|drl[ _-]?map|drill[ _-]?(?:map|drawing|chart|legend|guide)|drawing|assembly|"
    + _E + r"(?:assy|asm|fab|fabrication|courtyard|comments|eco\d?|adhes\w*|glue|user)" + _Z
)  # fmt: skip
_OUTLINES = (
    r"edge[ _.-]?cuts|outline|profile|contour|boundary|board[ _-]?(?:edge|shape|geometry)|pcb[ _-]?edges|edges[ _-]?pcb|"
    + _E + r"(?:edge|border|dimension|mech(?:anical)?\d*|keepout|route[ _-]?path)" + _Z
)  # fmt: skip

_SHORT = (
    ("sm|soldm|smask", RoleKind.MASK),
    ("sp|pst|spaste|sold[ _-]?p", RoleKind.PASTE),
    ("ss|sk|slk|sscr", RoleKind.SILK),
)
"""Short words for a layer's kind that count only beside a side's name."""


def _short() -> list[_Rule]:
    return [
        _rule(rf"{_E}(?:{words})[ _.-]*{long}{_Z}|{_E}{long}[ _.-]*(?:{words}){_Z}", kind, side)
        for words, kind in _SHORT
        for side, long in (("c", "(?:top|front|comp|cmp)"), ("s", "(?:bottom|bot|back|sold|cop)"))
    ]


def _letter(words: str, kind: RoleKind) -> list[_Rule]:
    """A side's letter run together with the layer's word: ``tcream``, ``bstop``."""
    return [_rule(rf"{_E}{letter}(?:{words}){_Z}", kind, side) for side, letter in (("c", "t"), ("s", "b"))]


def _numbers() -> list[_Rule]:
    """Names made of a short word, the layer's number and a code of the kind: ``sm0121``, ``sst0126`` (common practice, from memory)."""
    return [
        _rule(_E + r"sm0*\d+21" + _Z, RoleKind.MASK, "c"),
        _rule(_E + r"sm0*\d+28" + _Z, RoleKind.MASK, "s"),
        _rule(_E + r"smd0*\d+23" + _Z, RoleKind.PASTE, "c"),
        _rule(_E + r"smd0*\d+22" + _Z, RoleKind.PASTE, "s"),
        _rule(_E + r"sst\d+" + _Z, RoleKind.SILK, "c"),
        _rule(_E + r"ssb\d+" + _Z, RoleKind.SILK, "s"),
        _rule(_E + r"(?:dd|adt|adb)\d{2,}" + _Z, RoleKind.OTHER),
    ]


_METAL = "kupfer|cuivre|медь"
"""Copper in other languages: beside it a side's word tells a copper layer; alone it could be a mask's."""

_NAMES: tuple[_Rule, ...] = (
    _rule(_DRAWINGS, RoleKind.OTHER),
    *_short(),
    _rule(_E + r"(?:tslk|tsilk|sst|plc|lgt)(?:" + _Z + "|_)", RoleKind.SILK, "c"),
    _rule(_E + r"(?:bslk|bsilk|ssb|pls|lgb)(?:" + _Z + "|_)", RoleKind.SILK, "s"),
    _rule(_E + r"(?:smc|smt|tsm|stc)(?:" + _Z + "|_)", RoleKind.MASK, "c"),
    _rule(_E + r"(?:sms|smb|bsm|sts)(?:" + _Z + "|_)", RoleKind.MASK, "s"),
    _rule(_E + r"(?:spc|spt|tsp|crc)(?:" + _Z + "|_)", RoleKind.PASTE, "c"),
    _rule(_E + r"(?:sps|spb|bsp|crs)(?:" + _Z + "|_)", RoleKind.PASTE, "s"),
    *_letter("cream|paste", RoleKind.PASTE),
    *_letter("stop|mask", RoleKind.MASK),
    *_letter("place|silk|names", RoleKind.SILK),
    *_numbers(),
    *_both(r"(?:solder[ _-]*)?paste[ _-]*mask", RoleKind.PASTE),
    *_both(r"solder[ _-]*(?:mask|resist)|s[ _-]?mask|stop[ _-]?mask|mask|resist", RoleKind.MASK),
    *_both(r"solder[ _-]*paste|paste(?:mask)?|stencil|cream", RoleKind.PASTE),
    *_both(r"silk(?:s|[ _-]?screen)?|legend|overlay|overlay|place(?:plan|ment)?|nomenclature", RoleKind.SILK),
    _rule(_OUTLINES, RoleKind.OUTLINE),
    *_both(r"cu|copper|etch|signal|layer|side|conductor|elec", RoleKind.COPPER),
    _rule(_E + r"(?:top|front|component|component[ _-]?side|comp)" + _Z, RoleKind.COPPER, "c"),
    _rule(_E + r"(?:bottom|bot|back|sold(?:er)?[ _-]?side)" + _Z, RoleKind.COPPER, "s"),
    _rule(rf"(?:{_METAL}).*(?:oberseite|dessus|верх)|(?:oberseite|dessus|верх).*(?:{_METAL})", RoleKind.COPPER, "c"),
    _rule(rf"(?:{_METAL}).*(?:unterseite|dessous|низ)|(?:unterseite|dessous|низ).*(?:{_METAL})", RoleKind.COPPER, "s"),
    _rule(_E + r"(?:oben|best(?:ue|ü)ckungs?seite|boven|dessus)" + _Z, RoleKind.COPPER, "c"),
    _rule(_E + r"(?:unten|l(?:oe|ö)tseite|onder|dessous|solder)" + _Z, RoleKind.COPPER, "s"),
)  # fmt: skip

_NUMBERED = re.compile(
    _E
    + r"(?:in|int|inn|inner|innen(?:lage)?|внутр|internal|interne?|intern[ _.-]copper(?:[ _.-]none)?|mid"
    + r"|layer|lyr|lay|l|ly|art|plane|cu|copper|sig|signal|etch(?:layer)?|route?d?(?:layer)?|group|elec"
    + r"|conductor|innerlayer|internalplane|copperlayer|signallayer|culayer|gl|mg|art)[ _.-]?0*(\d{1,2})(?:[ _.-]?cu)?"
    + r"(?:$|[^0-9])"
)
_INNER_WORD = re.compile(
    _E
    + r"(?:inner|internal|mid|plane|(?:ground|power|gnd|pwr|vcc)plane|gnd|ground|pwr|power|vcc|vdd|vee|vss)\d{0,2}"
    + _Z
)


_CAMEL = re.compile(
    r"(?<=[a-z0-9])(?=(?:Top|Bottom|Bot|Inner|Layer|Copper|Mask|Silk|Paste|Solder|Plated|Outline)(?![a-z]))"
)
"""Where words are run together with capitals: ``EtchLayer2Bottom``."""


def from_name(base: str) -> LayerRole | None:
    """The role that a file name suggests; None where it suggests nothing.

    >>> r = from_name("Board-In2_Cu.g3"); r.kind.value, r.side, r.number
    ('copper', None, 2)
    >>> from_name("x_smc_GAF.art").words()
    'solder mask, component side'
    """
    stem, _, ending = base.rpartition(".")
    stem, ending = _CAMEL.sub("_", stem or base).lower(), ending.lower()
    lower = f"{stem}.{ending}"
    last = re.split(r"[ ._-]", stem)[-1]
    if ending in _GENERAL and last in _TELLING and last != stem:
        stem, ending = stem[: -len(last) - 1], last
    spaced = re.sub(r"(?<=[a-z])(?=\d)", "", stem)
    inner = _NUMBERED.search(spaced)
    for rule in _NAMES:
        if rule.kind is RoleKind.COPPER and rule.side is not None and inner and _INNER_NAME.search(spaced):
            break
        if rule.pattern.search(stem if rule.kind is not RoleKind.OTHER else lower):
            if rule.kind is RoleKind.COPPER and _LETTERED.search(spaced) and not _SIDE_WORD.search(spaced):
                break  # the letter orders the files (``b_layer2``), the number is the layer's
            if (
                rule.kind in (RoleKind.COPPER, RoleKind.OUTLINE)
                and ending in _EXTENSIONS
                and _EXTENSIONS[ending][1] is not None
            ):
                break
            return LayerRole(rule.kind, rule.side, negative=rule.kind is RoleKind.MASK, source=Source.NAME)
    return _from_ending(spaced, ending, inner)


_INNER_NAME = re.compile(
    _E
    + r"(?:(?:in|int|inner|innen(?:lage)?|внутр|internal|interne|mid)[ _.-]?(?:layer|copper|l)?|intern[ _.-]copper(?:[ _.-]none)?)[ _.-]?0*\d{1,2}"
)


def counts_inner(base: str) -> bool:
    """Whether a layer number in a name counts inner layers (``In1``, ``.g1``: the first is copper layer 2) or all copper layers (``layer2``).

    >>> counts_inner("b-In1_Cu.gbr"), counts_inner("b.g1"), counts_inner("b_layer2.gbr")
    (True, True, False)
    """
    stem, _, ending = base.rpartition(".")
    spaced = _CAMEL.sub("_", stem).lower()
    if _NUMBERED.search(spaced):
        return _INNER_NAME.search(spaced) is not None
    return _INNER_ENDING.match(ending.lower()) is not None and not ending.lower().startswith("l")


_LETTERED = re.compile(_E + r"[a-z][ _.-]+(?:layer|lyr|lay|ly|l|signal|sig|etch|art)[ _.-]?0*\d{1,2}" + _Z)
_SIDE_WORD = re.compile(r"top|bot|front|back|component|solder|comp|cmp")


def _from_ending(stem: str, ending: str, inner: re.Match[str] | None) -> LayerRole | None:
    known = _EXTENSIONS.get(ending)
    if known is not None:
        kind, side = known
        return LayerRole(
            kind,
            side,
            int(inner[1]) if inner and side is None else None,
            negative=kind is RoleKind.MASK,
            source=Source.NAME,
        )
    if inner:
        return LayerRole(RoleKind.COPPER, None, int(inner[1]), source=Source.NAME)
    numbered = _INNER_ENDING.match(ending)
    if numbered:
        return LayerRole(RoleKind.COPPER, None, int(numbered[1]), source=Source.NAME)
    if _INNER_WORD.search(stem):
        return LayerRole(RoleKind.COPPER, None, None, source=Source.NAME)
    if re.fullmatch(r"gm\d{0,2}", ending):
        return LayerRole(RoleKind.OUTLINE, source=Source.NAME)
    return None


_HEADER_RULES: tuple[_Rule, ...] = (
    _rule(r"drawing format/(?:assy|fab)\b|nclegend", RoleKind.OTHER),
    _rule(r"soldermask_top", RoleKind.MASK, "c"),
    _rule(r"soldermask_bottom", RoleKind.MASK, "s"),
    _rule(r"pastemask_top", RoleKind.PASTE, "c"),
    _rule(r"pastemask_bottom", RoleKind.PASTE, "s"),
    _rule(r"silkscreen_top", RoleKind.SILK, "c"),
    _rule(r"silkscreen_bottom", RoleKind.SILK, "s"),
    _rule(r"etch/top", RoleKind.COPPER, "c"),
    _rule(r"etch/bottom", RoleKind.COPPER, "s"),
    _rule(r"etch/", RoleKind.COPPER),
    _rule(r"/outline|design_outline", RoleKind.OUTLINE),
)

_COMMENT = re.compile(r"G04([^*]*)\*")


def from_comments(text: str) -> LayerRole | None:
    """The role that header comments suggest; None where they suggest nothing."""
    joined = "\n".join(_COMMENT.findall(text[:20_000])[:200]).lower()
    for rule in _HEADER_RULES:
        if rule.pattern.search(joined):
            number = (
                re.search(r"etch/\D*?(\d{1,2})\b", joined)
                if rule.kind is RoleKind.COPPER and rule.side is None
                else None
            )
            return LayerRole(
                rule.kind,
                rule.side,
                int(number[1]) if number else None,
                negative=rule.kind is RoleKind.MASK,
                source=Source.CONTENT,
            )
    return None


_NPTH = re.compile(r"npth|non?[ _-]?plated|nonpt|un[ _-]?plated|nicht[ _-]?dk|(?<![a-z])(?:np|nth)(?![a-z])")
_PTH = re.compile(r"pth|plated|platedholes|dk(?:$|[^a-z])")


def drill_role(base: str, text: str) -> LayerRole:
    """The role of a drill file: plated or not from X2, else from its name (None: the file's tools may tell)."""
    stated = from_header(text)
    if stated is not None and stated.kind is RoleKind.DRILL:
        return stated
    lower = base.lower()
    if _NPTH.search(lower):
        return LayerRole(RoleKind.DRILL, plated=False, source=Source.NAME)
    if _PTH.search(lower):
        return LayerRole(RoleKind.DRILL, plated=True, source=Source.NAME)
    return LayerRole(RoleKind.DRILL, source=Source.CONTENT)
