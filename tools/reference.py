"""Writes the generated parts of docs/reference from the code: python tools/reference.py (with --check it only says what is stale).

A generated part stands between ``<!-- made by tools/reference.py: NAME -->`` and ``<!-- end: NAME -->``; everything around it is written by hand.
"""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import click

HERE = Path(__file__).resolve().parent.parent
SOURCE = HERE / "src" / "coppermend"
DOCS = HERE / "docs"
CODE = re.compile(r"[A-Z]{3}-\d{3}")
PAGE_FINDING = re.compile(
    r"code: '(?P<code>PAGE-\d{3})'.*?words: (?P<words>[^\n]*?),\s*remedy: '(?P<remedy>[^'\n]*)'", re.DOTALL
)


# commands ------------------------------------------------------------------------------------------------------------------------------


def commands() -> Iterator[tuple[str, click.Command]]:
    """Every command of the command line with its full name, groups first."""
    from coppermend.cli import cli

    yield from _walk("coppermend", cli)


def _walk(name: str, command: click.Command) -> Iterator[tuple[str, click.Command]]:
    yield name, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for sub in command.list_commands(context):
            found = command.get_command(context, sub)
            if found is not None:
                yield from _walk(f"{name} {sub}", found)


def options(command: click.Command) -> Iterator[click.Option]:
    """The options of a command, --help left out."""
    for parameter in command.params:
        if isinstance(parameter, click.Option) and "--help" not in parameter.opts:
            yield parameter


def cli_part() -> str:
    """Commands with their arguments, words and options."""
    lines = []
    for name, command in commands():
        if isinstance(command, click.Group) and name != "coppermend" and not list(options(command)):
            lines += [f"## `{name}`", "", _first(command.help), ""]
            continue
        words = " ".join(_argument(p) for p in command.params if isinstance(p, click.Argument))
        level = "##" if name.count(" ") < 2 else "###"
        lines += [f"{level} `{' '.join(filter(None, (name, words)))}`", "", _help(command.help), ""]
        rows = [(_names(one), _shown(one)) for one in options(command) if not one.hidden]
        if rows:
            lines += ["| option | meaning |", "|---|---|"]
            lines += [f"| {a} | {b} |" for a, b in rows]
            lines.append("")
    return "\n".join(lines)


def _argument(one: click.Argument) -> str:
    name = (one.metavar or one.name or "").upper()
    shown = f"{name}..." if one.nargs != 1 else name
    return shown if one.required else f"[{shown}]"


def _first(text: str | None) -> str:
    return _help(text).split("\n\n")[0]


def _help(text: str | None) -> str:
    return "\n\n".join(_paragraph(one) for one in re.split(r"\n[ \t]*\n", inspect.cleandoc(text or "")))


def _paragraph(text: str) -> str:
    """A paragraph on one line; one that click must not rewrap (it begins with a backspace) as it stands."""
    if text.startswith("\b"):
        return "\n".join(["```text", text.removeprefix("\b").strip("\n"), "```"])
    return " ".join(line.strip() for line in text.splitlines())


def _names(one: click.Option) -> str:
    names = ", ".join(f"`{name}`" for name in (*one.opts, *one.secondary_opts))
    if one.is_flag or one.count:
        return names
    if isinstance(one.type, click.Choice):
        return f"{names} `{'`, `'.join(str(c) for c in one.type.choices)}`"
    return f"{names} {(one.metavar or one.type.name).upper()}"


def _shown(one: click.Option) -> str:
    words = _cell(one.help or "")
    if one.required:
        words += " Required."
    if one.multiple:
        words += " May be given several times."
    if not one.is_flag and isinstance(one.default, (str, int, float)) and one.default != "" and "efault" not in words:
        words += f" Default {one.default}."
    return words.strip()


def _cell(words: str) -> str:
    return re.sub(r"\s+", " ", words).replace("|", "\\|").strip()


# codes ---------------------------------------------------------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True, slots=True)
class Code:
    """A finding's code where the source makes it: module, words and remedy as templates."""

    code: str
    module: str
    words: str
    remedy: str


def codes() -> list[Code]:
    """Every code in the source: any call with a literal code among its arguments; later string arguments are words and remedy."""
    found: dict[tuple[str, str, str], Code] = {}
    seen: dict[str, str] = {}
    for path in sorted(SOURCE.rglob("*.py")):
        module = ".".join(path.relative_to(SOURCE).with_suffix("").parts)
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and CODE.fullmatch(node.value):
                seen.setdefault(node.value, module)
            if isinstance(node, ast.Call):
                one = _code(node, module)
                if one is not None:
                    found.setdefault((one.code, one.module, one.words), one)
    for one in page_codes():
        found.setdefault((one.code, one.module, one.words), one)
    explained = {one.code for one in found.values()}
    rest = [Code(code, module, "", "") for code, module in seen.items() if code not in explained]
    return sorted([*found.values(), *rest], key=lambda c: (c.code, c.module))


def page_codes() -> Iterator[Code]:
    """The codes that the page makes itself, when the server gives no finding: an object with code, words and remedy in its modules."""
    for path in sorted((SOURCE / "page").rglob("*.js")):
        module = path.relative_to(SOURCE).as_posix()
        for one in PAGE_FINDING.finditer(path.read_text(encoding="utf-8")):
            quoted = re.findall(r"'([^']*)'|`([^`]*)`", one["words"])
            words = " / ".join(re.sub(r"\$\{[\w.]*?(\w+)\}", r"{\1}", a or b) for a, b in quoted)
            yield Code(one["code"], module, words, one["remedy"])


def _code(call: ast.Call, module: str) -> Code | None:
    arguments = [*call.args, *(k.value for k in call.keywords)]
    for i, one in enumerate(arguments):
        if isinstance(one, ast.Constant) and isinstance(one.value, str) and CODE.fullmatch(one.value):
            words = [w for w in (_template(a) for a in arguments[i + 1 :]) if w is not None and " " in w]
            return Code(one.value, module, words[0] if words else "", words[1] if len(words) > 1 else "")
    return None


def _template(node: ast.expr) -> str | None:
    """A string literal as words; what is filled in stands in braces."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        parts = [v.value if isinstance(v, ast.Constant) else _filled(v) for v in node.values]
        return "".join(str(p) for p in parts)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = _template(node.left), _template(node.right)
        return (left or "{...}") + (right or "{...}") if left or right else None
    return None


def _filled(node: ast.expr) -> str:
    if isinstance(node, ast.FormattedValue):
        names = [
            n.attr if isinstance(n, ast.Attribute) else n.id
            for n in ast.walk(node.value)
            if isinstance(n, (ast.Attribute, ast.Name))
        ]
        return "{" + (names[0] if names else "...") + "}"
    return "{...}"


def errors_part() -> str:
    """All codes as one table."""
    lines = ["| code | made in | what it says | what to do |", "|---|---|---|---|"]
    lines += [
        f"| `{c.code}` | `{c.module}` | {_cell(c.words) or 'words depend on the place'} | {_cell(c.remedy)} |"
        for c in codes()
    ]
    return "\n".join(lines)


# log, numbers, API ---------------------------------------------------------------------------------------------------------------------


def kinds_part() -> str:
    """The kinds of log entries with their payload fields."""
    from coppermend.core.log.kinds import KINDS

    lines = ["| kind | in words | v | must hold | may hold |", "|---|---|---|---|---|"]
    for spec in KINDS.values():
        must, may = (", ".join(f"`{n}`" for n in names) for names in (spec.must, spec.may))
        lines.append(f"| `{spec.name}` | {spec.words} | {spec.v} | {must} | {may} |")
    return "\n".join(lines)


def basis_part() -> str:
    """The numbers a belief uses."""
    from coppermend.core.belief.model import Basis

    return _fields(Basis())


def costs_part() -> str:
    """The table of modelled bench seconds."""
    return _fields(importlib.import_module("coppermend.core.planning.costs").CostTable())


def wires_part() -> str:
    """What soldering costs in mm, and the limits of a wire."""
    from coppermend.core.rework import gauge, wires
    from coppermend.core.rework.pieces import Difficulty

    names = ((gauge, "DENSITY_A_PER_MM2"), (gauge, "BENCH_GAUGES"), (wires, "STRIP_MM"), (wires, "SLACK_MM"))
    rows = [f"| `{name.lower()}` | {getattr(module, name)} | {MEANINGS[name.lower()]} |" for module, name in names]
    return _fields(Difficulty()) + "\n" + "\n".join(rows)


MEANINGS = {
    "read_s": "a reading with both tips in place",
    "move_s": "moving one tip",
    "near_mm": "a pin this near counts as near",
    "near_s": "moving a tip to a near pin",
    "far_mm": "beyond this a move is far",
    "far_s": "added for each tip that moves far",
    "turn_s": "turning the board over",
    "mixed_s": "added to a check with tips on two sides",
    "clip_s": "clipping a lead on a point; that tip then costs nothing",
    "scope_first_s": "scope or logic probe on a pin, the first time",
    "scope_next_s": "the same, the next pin",
    "rail_s": "a rail with the meter",
    "wave_s": "a wave recorded and saved",
    "power_s": "power on or off, with the look that belongs to it",
    "thermal_s": "a thermal picture",
    "look_s": "looking over a work area, one side",
    "reseat_s": "reseating a part in its socket",
    "swap_s": "swapping one",
    "patch_s": "fitting a patch wire",
    "prior_in": "share broken inside a work area",
    "prior_out": "share broken outside",
    "narrow_mm": "a run up to this width has the prior of `run_narrow`",
    "false_open": "share of readings that say open on sound copper",
    "false_closed": "share of readings that say closed on broken copper",
    "proven_below": "a site below this probability counts as proven sound",
    "broken_above": "a break above this probability is announced",
    "closed_below_ohm": "a reading below this is closed (class 3 of bare-board test)",
    "severity_factor": "priors inside an area times this, by its severity",
    "short_prior": "two neighbouring nets shorted, where a reading was taken between them",
    "contact_shares": "possible shares of probe points on which a tip bites badly, each with its prior weight; the readings decide",
    "contact_bad": "that share, when `contact_shares` is empty",
    "chip_false_closed": "what a chip left in circuit adds to the false closed rate on its nets",
    "damage_scales": "factors on the rate of damage inside the work areas that are supposed, each with its weight; the readings decide",
    "open_scales": "factors on the rate of false opens that are supposed, each with its weight; the readings decide",
    "advice_above": "a break is named for the soldering iron above this, with two independent readings",
    "partial_share": "chance of too much resistance, as a share of a stretch's chance to be broken",
    "ohms_wires": "what ohms can be read with here: 4 or 2 wires, 0 for nothing fine enough",
    "ohms_step_ohm": "last digit of the two-wire meter",
    "contact_false_open": "how often such a point reads open on sound copper",
    "leg": "a soldered leg or its joint, mm",
    "via": "a via, mm",
    "socket_pin": "the joint of a socket's pin, mm",
    "land": "a bare land, mm",
    "hole": "an empty hole, which the part will need, mm",
    "other_side": "added when the two ends lie on two sides, mm",
    "density_a_per_mm2": "steady current that a patch wire may carry per mm2 of section",
    "bench_gauges": "gauges at hand, thinnest first (AWG)",
    "chip_dead": "a chip dead, whatever it shows",
    "dead_modes": "how a dead chip's outputs behave: open, all low, all high (shares)",
    "output_stuck": "one output held at one level inside its chip, for each of the two levels",
    "input_low": "one input that pulls its net low",
    "passive_open": "a resistor, capacitor or coil in a signal's way open",
    "timing_open": "a capacitor that sets a time has lost its capacity",
    "crystal_dead": "a crystal that does not start",
    "crystal_wrong": "a crystal at a wrong frequency",
    "rail_missing": "a rail missing at its source",
    "rail_low": "a rail too low",
    "short_in": "a bridge between two neighbouring pins inside a work area",
    "short_out": "the same outside",
    "misread": "a level read or noted wrongly",
    "pattern_false_wrong": "a right pattern judged wrong",
    "pattern_false_right": "a wrong pattern judged right",
    "foreign_right": "another line's pulses (coupled in, or read at a pin beside) judged to be the line's own",
    "rail_misread": "a rail's voltage read wrongly",
    "sink_misread": "the pin that millivolts lead to found wrongly",
    "sink_lasting": "of those the share that the board misleads to, the same way again",
    "renewed": "faults of a part just replaced, against before",
    "screen_misread": "a start's picture taken for another",
    "swap_misread": "a start after a swap judged wrongly",
    "number": "how likely one, two, three faults are",
    "more": "each further fault, against one less",
    "unlike_table": "how likely a fault is one that these priors know nothing of: any cause alike",
    "leans_above": "a name leans on a reading that was taken once when it would be less likely than this without it: below `sure_above` it is taken again",
    "rival_factor": "a rival that the readings make less than this many times less likely is looked at before a name is given",
    "named_above": "a suspect is named above this",
    "sure_above": "below this a name that rests on one reading alone waits until that was taken again",
    "strip_mm": "insulation taken off at each end",
    "slack_mm": "spare length of a wire",
}
"""What each number means; a number without words is an error."""


def _fields(value: Any, without: tuple[str, ...] = ()) -> str:
    lines = ["| name | default | meaning |", "|---|---|---|"]
    for one in dataclasses.fields(value):
        if one.name in without:
            continue
        found = getattr(value, one.name)
        words = MEANINGS[one.name]
        if isinstance(found, Mapping):
            lines += [f"| `{one.name}.{key}` | {number} | {words} |" for key, number in found.items()]
        else:
            lines.append(f"| `{one.name}` | {found} | {words} |")
    return "\n".join(lines)


def suspects_part() -> str:
    """Priors and error rates of the belief under power, and how a place looks that nothing drives; the copper's are those of the basis."""
    from coppermend.core.belief.suspects.afloat import AFLOAT
    from coppermend.core.belief.suspects.table import FaultTable

    lines = [
        _fields(FaultTable(), without=("copper",)),
        "",
        "How a place looks that nothing drives (`core/belief/suspects/afloat.py`), by what pulls at it and what it is looked at with; a meter is as a scope, an"
        " instrument that was not told a scope or a logic probe, evenly.",
        "",
        "| pulled by | looked at with | low | high | pulsing | floating |",
        "|---|---|---|---|---|---|",
    ]
    pulls = {"free": "no bipolar input", "bipolar": "a bipolar input (TTL, LS, S, ALS, F)"}
    tools = {"scope": "scope, meter", "probe": "logic probe", "analyser": "logic analyser"}
    lines += [
        f"| {pulls[pull]} | {tools[by]} | " + " | ".join(f"{share:g}" for share in shares) + " |"
        for (pull, by), shares in AFLOAT.items()
    ]
    return "\n".join(lines)


def looks_part() -> str:
    """What looking tells: the findings with their rates, and what a look over a whole side would show."""
    from coppermend.core.belief.priors import LEAST_BY_LOOKING
    from coppermend.core.belief.suspects import looks

    lines = [
        "| finding | speaks of | seen when it is there | called so when it is not | makes it likelier |",
        "|---|---|---|---|---|",
    ]
    for one in looks.FINDINGS.values():
        of = ", ".join(one.kinds) or one.of
        rates = (
            f"{one.seen:g} | {one.false:g} | {one.ratio:.3g} times"
            if one.false
            else f"- | - | readings there read open falsely: {looks.DIRTY_FALSE_OPEN:g}"
        )
        lines.append(f"| {one.name} | {of} | {rates} |")
    over = ", ".join(f"{kind} {share:g}" for kind, share in looks.OVER.items())
    lines += [
        "",
        f"Over a whole side: P(it shows) {over}, a bridge {looks.OVER_BRIDGE:g}; something taken for a fault where none is, the side together {looks.OVER_FALSE:g}. "
        f"What was looked for at a place in vain leaves at least {LEAST_BY_LOOKING:g} of a site's chance.",
    ]
    return "\n".join(lines)


def hands_part() -> str:
    """What hands do to contacts and chips, what checks of chips and the supply's figures tell, and what each step of the hands costs and risks."""
    from coppermend.core.belief.suspects import hands
    from coppermend.core.circuit import supplies
    from coppermend.core.planning import suspects_hands as steps
    from coppermend.core.planning import suspects_next
    from coppermend.services import handsevidence, railshort, supplyproof

    lines = [
        "| act | touches | cures | harms | shows there | inside the part | by itself |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, one in hands.HANDS.items():
        of = ", ".join(one.sites) or "the part"
        lines.append(f"| {name} | {of} | {one.cure:g} | {one.harm:g} | {one.shows:g} | {one.inside:g} | {one.miss:g} |")
    lines += ["", "| check of a chip | found wrong where it is at fault | where it is not |", "|---|---|---|"]
    lines += [f"| {name} | {hit:g} | {miss:g} |" for name, (hit, miss) in handsevidence.CHECK_SEEN.items()]
    rows = [
        ("a chip put in is good", ", ".join(f"{word} {p:g}" for word, p in hands.GOOD.items())),
        (
            "a good chip on top shows, by how the one below fails",
            ", ".join(f"{k} {p:g}" for k, p in hands.ON_TOP.items()),
        ),
        (
            "a rail measured alone is out of range where it is at fault, where it is not",
            "{:g}, {:g}".format(*supplyproof.BAD_ALONE),
        ),
        ("a drop is seen where the way is bad, where it is whole", "{:g}, {:g}".format(*supplyproof.DROP_SEEN)),
        ("ripple and noise, share of the nominal voltage", f"{supplies.RIPPLE_SHARE:g}"),
        ("a bad way loses more than this share", f"{supplies.DROP_SHARE:g}"),
        ("least dummy load, A", f"{supplies.LEAST_LOAD_A:g}"),
        ("current limit and abort value over the expected draw", f"{supplies.LIMIT_OVER:g}, {supplies.ABORT_OVER:g}"),
        (
            "how often a part shorts a rail, against a ceramic capacitor",
            ", ".join(f"{k} {w:g}" for k, w in railshort.SHORTS_OFTEN.items()),
        ),
        (
            "pressing, a chip on top, replacing a soldered chip, s",
            f"{steps.PRESS_S:g}, {steps.TOP_S:g}, {steps.REPLACE_S:g}",
        ),
        ("one unit of money, a part that must be ordered, s", f"{steps.MONEY_S:g}, {steps.BUY_S:g}"),
        ("harm at one step", ", ".join(f"{k} {suspects_next.HARM[k]:g}" for k in steps.HAND_KINDS)),
    ]
    lines += ["", "| what | value |", "|---|---|", *(f"| {a} | {b} |" for a, b in rows)]
    return "\n".join(lines)


def whole_part() -> str:
    """The seconds of work and the thresholds of a whole repair, and what its practice patients are drawn with."""
    from coppermend.core.planning import whole as choice
    from coppermend.practice import whole as patient
    from coppermend.services import copperfirst, whole_setting, whole_ways

    rows = [
        (
            "looked on for what else is wrong while naming it takes less than a further session, times the chance that there is something",
            f"{choice.SESSION_S:g} s",
        ),
        ("a look that only settles what else is about to be named is taken from this chance on", f"{choice.MORE:g}"),
        ("readings beyond the first name at most", f"{choice.LOOK_ON_READINGS}"),
        ("below so many bits a minute looks are weighed against the ways to go on", f"{choice.GO_ON_BELOW:g}"),
        ("below so many bits a minute they are not taken while a way is left", f"{choice.NOT_WORTH:g}"),
        ("bad cells of ROMs or memories are what is wrong, before anything is seen", f"{choice.CONTENT:g}"),
        ("seconds of looks that a break found before power saves", f"{copperfirst.NAME_S:g}"),
        ("pressing a part out and in cures a bad contact", f"{whole_ways.CURED:g}"),
        ("patients: kinds of faults, drawn evenly", ", ".join(patient.WHOLE_KINDS)),
        ("patients: of faults of the supply a part shorts a rail", f"{patient.SHORTED_SHARE:g}"),
        ("patients: of faults of memories and ROMs bad cells", f"{patient.CONTENT_SHARE:g}"),
        ("patients: of faults of copper bridges", f"{patient.BRIDGE_SHARE:g}"),
        (
            "patients: an act cures, between",
            ", ".join(f"{act} {a:g} and {b:g}" for act, (a, b) in patient.CURE.items()),
        ),
        ("patients: a fault shows to the eye", ", ".join(f"{kind} {p:g}" for kind, p in patient.SHOWS.items())),
        ("patients: the owner has agreed to unsoldering at intake", f"{whole_setting.CONSENT_SHARE:g}"),
    ]
    work = {
        "solder_s": "soldering one joint again", "clear_s": "taking solder or dirt from between two pins", "replace_chip_s": "another soldered chip",
        "replace_small_s": "another part of two or three legs", "clean_s": "contacts and legs of a part wiped",
        "renew_pin_s": "renewing a socket's contact, a leg or a torn land", "supply_s": "another supply",
        "memory_test_s": "a memory test from a good ROM", "rom_read_s": "a ROM out, read, and in again", "ask_s": "asking the owner",
        "glance_s": "a look at a part just fitted", "ohms_s": "a reading by four wires",
    }  # fmt: skip
    times = [(words, f"{getattr(choice.TIMES, name):g} s") for name, words in work.items()]
    return "\n".join(["| what | value |", "|---|---|", *(f"| {a} | {b} |" for a, b in (*times, *rows))])


def api_part() -> str:
    """Every route of the HTTP API."""
    schema = importlib.import_module("coppermend.api.app").create_app(None).openapi()
    lines = ["| method | path | what it does |", "|---|---|---|"]
    for path, methods in sorted(schema["paths"].items()):
        for method, route in methods.items():
            words = route.get("description") or route.get("summary") or ""
            lines.append(f"| {method.upper()} | `{path}` | {_cell(words.split(chr(10) + chr(10))[0])} |")
    return "\n".join(lines)


PARTS: dict[str, tuple[str, Callable[[], str]]] = {
    "cli": ("reference/cli.md", cli_part),
    "errors": ("reference/errors.md", errors_part),
    "kinds": ("reference/log.md", kinds_part),
    "basis": ("reference/constants.md", basis_part),
    "costs": ("reference/constants.md", costs_part),
    "wires": ("reference/constants.md", wires_part),
    "suspects": ("reference/constants.md", suspects_part),
    "looks": ("reference/constants.md", looks_part),
    "hands": ("reference/constants.md", hands_part),
    "whole": ("reference/constants.md", whole_part),
    "api": ("reference/api.md", api_part),
}


def replaced(text: str, name: str, part: str) -> str:
    """The page with its generated part put in; ValueError when it lacks the marks."""
    start, end = f"<!-- made by tools/reference.py: {name} -->", f"<!-- end: {name} -->"
    before, found, rest = text.partition(start)
    _, closed, after = rest.partition(end)
    if not found or not closed:
        raise ValueError(f"no place for {name}")
    return f"{before}{start}\n{part.strip()}\n{end}{after}"


def stale(names: Iterable[str] = PARTS) -> list[tuple[str, Path, str]]:
    """Parts that differ from what the code says: name, page, the page as it should be."""
    pages: dict[Path, str] = {}
    changed: list[tuple[str, Path, str]] = []
    for name in names:
        page, make = PARTS[name]
        path = DOCS / page
        text = pages.get(path) or path.read_text(encoding="utf-8")
        pages[path] = replaced(text, name, make())
        if pages[path] != text:
            changed.append((name, path, pages[path]))
    return [(name, path, pages[path]) for name, path, _ in changed]


def main() -> int:
    """Write what is stale, or with --check say it."""
    changed = stale()
    for name, path, text in changed:
        where = path.relative_to(HERE).as_posix()
        if "--check" in sys.argv:
            sys.stdout.write(f"stale: {name} in {where}; run python tools/reference.py\n")
        else:
            path.write_text(text, encoding="utf-8")
            sys.stdout.write(f"wrote {name} in {where}\n")
    return 1 if changed and "--check" in sys.argv else 0


if __name__ == "__main__":
    raise SystemExit(main())
