"""``coppermend practice``: simulated broken boards to learn on, to demonstrate with, and to measure the planner by."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.core.findings import Place, refuse
from coppermend.services import practice

POLICIES_SHOWN = ", ".join(practice.POLICY_NAMES)


@click.group(name="practice")
def practice_command() -> None:
    """Practice patients: simulated broken boards that answer checks. Seconds are modelled."""


def _options(*wanted: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """The options that several subcommands share."""
    made = {
        "board": click.option("--board", "package", required=True, metavar="PACKAGE", help="Folder, zip, or demo."),
        "socket": click.option("--socket", default="", metavar="REF", help="Part whose socket was changed. Default: the largest socketed part."),
        "machine": click.option("--machine", default=None, metavar="FILE", help="JSON with more damaged zones (work_areas)."),
        "seed": click.option("--seed", type=int, default=1, show_default=True, help="Which patient."),
        "breaks": click.option("--breaks", default="1", show_default=True, metavar="K|A-B|prior", help="Broken sites; prior: each by its own chance."),
        "noise": click.option("--noise", type=click.Choice(["standard", "off"]), default="standard", show_default=True, help="off: every reading is true."),
        "false_open": click.option("--false-open", type=float, default=None, metavar="RATE", help="Fix the false open rate."),
        "false_closed": click.option("--false-closed", type=float, default=None, metavar="RATE", help="Fix the false closed rate."),
        "oxidised": click.option("--oxidised", type=float, default=None, metavar="SHARE", help="Share of oxidised points."),
        "slips": click.option("--slips", type=float, default=0.0, show_default=True, metavar="RATE", help="How often a tip stands on the neighbour pin."),
        "mixed_up": click.option("--mixed-up", type=float, default=0.0, show_default=True, metavar="RATE", help="How often the answer of the check before is noted."),
        "intermittent": click.option("--intermittent", type=float, default=0.0, show_default=True, metavar="SHARE", help="Share of broken joints that close under a tip."),
        "truth": click.option("--truth", default=None, metavar="FILE", help="A patient handed in as JSON."),
        "faults": click.option("--faults", default=None, metavar="K|A-B", help="Faults of any kind (1 to 3) instead of --breaks: chips, pins, copper, bridges, rails."),
        "kinds": click.option("--kinds", type=click.Choice(["any", "copper", "parts", "all"]), default="any", show_default=True, help="Which kinds; all: a whole repair."),
        "draw": click.option("--draw", type=click.Choice(["prior", "uniform"]), default="prior", show_default=True, help="With --faults: by the priors, or evenly (wrong priors)."),
        "model": click.option("--model", default=None, metavar="FILE", help="With --faults: the machine's own file (TOML)."),
        "json": click.option("--json", "as_json", is_flag=True, help="Print one JSON object."),
    }  # fmt: skip

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        for name in reversed(wanted):
            command = made[name](command)
        return command

    return add


_NOISE = ("noise", "false_open", "false_closed", "oxidised", "slips", "mixed_up", "intermittent")
_POWERED = ("faults", "kinds", "draw", "model")
_PATIENT = ("board", "socket", "machine", "seed", "breaks", *_NOISE, "truth")


def _range(text: str, name: str) -> tuple[int, int]:
    """``3`` or ``0-3`` as (first, last)."""
    first, _, last = text.partition("-")
    try:
        low, high = int(first), int(last or first)
    except ValueError:
        low, high = -1, -1
    if low < 0 or high < low:
        raise refuse("PRA-020", f"{name} {text!r} is no range.", f"Give a number or two, such as {name} 0-3.")
    return low, high


def breaks_for(text: str) -> Callable[[int], int | None]:
    """How many breaks a seed gets: ``2`` always two, ``0-3`` in turn by seed, ``prior`` each site by its own chance."""
    if text == "prior":
        return lambda seed: None
    low, high = _range(text, "--breaks")
    return lambda seed: low + seed % (high - low + 1)


def _text(path: str | None) -> str | None:
    if path is None:
        return None
    try:
        return Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as err:
        raise refuse(
            "PRA-021", f"The file cannot be read: {err}.", "Name a JSON file in UTF-8.", Place(file=path)
        ) from None


def _noise(o: dict[str, Any]) -> dict[str, Any]:
    return {
        "false_open": o["false_open"],
        "false_closed": o["false_closed"],
        "oxidised": o["oxidised"],
        "noise_off": o["noise"] == "off",
        "slips": o["slips"],
        "mixed_up": o["mixed_up"],
        "intermittent": o["intermittent"],
        "truth_text": _text(o["truth"]),
        "truth_name": o["truth"] or "truth file",
    }


def _setting(o: dict[str, Any]) -> practice.PracticeSetting:
    return bootstrap.practice_setting(o["package"], o["socket"], o["machine"])


@practice_command.command(name="run")
@_options(*_PATIENT, *_POWERED, "json")
@click.option(
    "--policy",
    default="next",
    show_default=True,
    metavar="NAME",
    help=f"One of {POLICIES_SHOWN}; with --faults next or checklist; with --kinds all next, practice or checklist.",
)
def run_command(policy: str, as_json: bool, **o: Any) -> int:
    """Let one policy work on one patient and mark the result. Exit status 1 when a provable break was missed or a false one announced.

    With --faults the board is worked on under power until the first faulty unit is named; exit status 1 when the wrong one or none is.
    """
    if o["kinds"] == "all":
        return _run_whole(policy, as_json, o)
    if o["faults"] is not None:
        return _run_powered(policy, as_json, o)
    setting = _setting(o)
    patient = practice.patient_of(setting, o["seed"], breaks_for(o["breaks"])(o["seed"]), **_noise(o))
    result = practice.run(setting, patient, policy)
    marked = practice.marks(setting, result, patient.truth())
    if as_json:
        print_json({**marked, "seed": o["seed"]})
    elif not result.judged:
        click.echo(f"Policy {policy}, patient {o['seed']}: {_batch_words([marked])}.")
    else:
        click.echo(
            f"Policy {policy}, patient {o['seed']}: {marked['found']} of {marked['breaks']} breaks found, {marked['false_alarms']} false alarms, "
            f"{marked['checks']} checks, {marked['seconds_bench'] / 60:.1f} min (modelled)."
        )
        click.echo(
            f"{marked['proven']} of {marked['at_risk']} sites at risk proven; {marked['unprovable']} cannot be proven by continuity."
        )
        for one in result.announced:
            click.echo(f"  broken: net {one.span.net}, {one.span.words} ({100 * one.span.p:.1f} %)")
    bad = not result.judged or marked["false_alarms"] or marked["found_provable"] < marked["breaks_provable"]
    return 1 if bad else 0


def _run_whole(policy: str, as_json: bool, o: dict[str, Any]) -> int:
    from coppermend.services.whole_practice import run_whole

    low, high = _range(o["faults"] or "1-4", "--faults")
    setting = bootstrap.whole_setting(o["package"], o["socket"], o["machine"], o["model"])
    count = low + o["seed"] % (high - low + 1)
    marked, tally = run_whole(
        setting, o["seed"], count, policy, bootstrap.practice_workshop, bootstrap.device_book(None), noise_off=o["noise"] == "off"
    )  # fmt: skip
    if as_json:
        print_json({**marked, "steps": [one.as_dict() for one in tally.acts]})
    else:
        for one in tally.acts:
            click.echo(f"  {one.kind} {one.what}: {one.said}")
        harm = marked["harm"]
        click.echo(
            f"Policy {policy}, patient {o['seed']}: {'mended' if marked['mended'] else 'not mended'} ({marked['end']}) after {marked['power_ups']} power-ups, "
            f"{marked['seconds_bench'] / 60:.1f} min (modelled measuring and working time). Power into a short {harm['into_short']}, irreversible without consent "
            f"{harm['without_consent']}, good parts taken out {harm['needless']}."
        )
        for words in marked["true"]:
            click.echo(f"  true: {words}{' (left)' if words in marked['left'] else ''}")
    return 0 if marked["mended"] else 1


def _run_powered(policy: str, as_json: bool, o: dict[str, Any]) -> int:
    from coppermend.services import powered_practice as powered

    low, high = _range(o["faults"], "--faults")
    made = bootstrap.powered_setting(o["package"], o["socket"], o["machine"], o["model"])
    count = low + o["seed"] % (high - low + 1)
    case = powered.powered_patient(
        made, o["seed"], count, o["kinds"], uniform=o["draw"] == "uniform", noise_off=o["noise"] == "off"
    )
    marked = {**powered.run_powered(made, case, policy), "seed": o["seed"]}
    if as_json:
        print_json(marked)
    else:
        for one in marked["acts"]:
            click.echo(f"  {one['kind']} {', '.join(one['places'])}: {', '.join(one['answers'])}")
        click.echo(
            f"Policy {policy}, patient {o['seed']}: {marked['named_words'] or 'nobody'} named "
            f"({'right' if marked['named_true'] else 'wrong' if marked['named'] else 'nothing more can be told apart'}) after {marked['steps']} steps, "
            f"{marked['seconds_bench'] / 60:.1f} min (modelled)."
        )
        for true in marked["true"]:
            click.echo(f"  true: {true['words']}")
    return 0 if marked["named_true"] else 1


def _batch_powered(seeds: str, policies: str, jsonl: bool, o: dict[str, Any]) -> int:
    from coppermend.services import powered_practice as powered

    faults = _range(o["faults"], "--faults")
    first, last = _range(seeds, "--seeds")
    names = [p.strip() for p in policies.split(",") if p.strip()]
    made = bootstrap.powered_setting(o["package"], o["socket"], o["machine"], o["model"])
    rows: dict[str, list[dict[str, Any]]] = {}
    for row in powered.batch_powered(
        made,
        range(first, last + 1),
        faults,
        o["kinds"],
        names,
        uniform=o["draw"] == "uniform",
        noise_off=o["noise"] == "off",
    ):
        if jsonl:
            click.echo(json.dumps(row, ensure_ascii=False, allow_nan=False))
        rows.setdefault(row["policy"], []).append(row)
    for name, mine in rows.items() if not jsonl else ():
        n = len(mine)
        named = [r for r in mine if r["named"]]
        steps = sorted(r["steps"] for r in mine)
        click.echo(
            f"{name}: {n} patients, {len(named)} named, {sum(r['named_true'] for r in named)} of them truly faulty, "
            f"steps median {steps[n // 2]}, {sum(r['seconds_bench'] for r in mine) / n / 60:.1f} min each (modelled)"
        )
    return 0


@practice_command.command(name="batch")
@_options(*[n for n in (*_PATIENT, *_POWERED) if n not in ("seed", "truth")])
@click.option("--seeds", default="1-20", show_default=True, metavar="A-B", help="Which patients.")
@click.option(
    "--policy", "policies", default="next", show_default=True, metavar="NAMES", help=f"Comma list of {POLICIES_SHOWN}."
)
@click.option("--jsonl", is_flag=True, help="Print one JSON object for each patient and policy.")
def batch_command(seeds: str, policies: str, jsonl: bool, **o: Any) -> int:
    """Many patients; every policy meets the same ones."""
    if o["faults"] is not None:
        return _batch_powered(seeds, policies, jsonl, o)
    setting = _setting(o)
    first, last = _range(seeds, "--seeds")
    noise = {k: v for k, v in _noise({**o, "truth": None}).items() if not k.startswith("truth")}
    rows: dict[str, list[dict[str, Any]]] = {}
    names = [p.strip() for p in policies.split(",") if p.strip()]
    for row in practice.batch(setting, range(first, last + 1), breaks_for(o["breaks"]), names, **noise):
        if jsonl:
            click.echo(json.dumps(row, ensure_ascii=False, allow_nan=False))
        rows.setdefault(row["policy"], []).append(row)
    if not jsonl:
        for name, mine in rows.items():
            click.echo(f"{name}: {_batch_words(mine)}")
    return 0


def _batch_words(mine: list[dict[str, Any]]) -> str:
    """The rows of one policy in one line."""
    n, judged = len(mine), [r for r in mine if r["found"] is not None]
    provable = sum(r["breaks_provable"] for r in judged)
    words = f"{n} patients, {sum(r['checks'] for r in mine) / n:.1f} checks and {sum(r['seconds_bench'] for r in mine) / n:.0f} s each (modelled)"
    if judged:
        words += (
            f", {sum(r['found_provable'] for r in judged)} of {provable} provable breaks found, {sum(r['false_alarms'] for r in judged)} false alarms, "
            f"{sum(r['wrong_proven'] for r in judged)} broken sites called proven"
        )
    left = n - len(judged)
    return words + (
        f"; {left} not judged: too many readings from pin to next pin on one net with rings" if left else ""
    )


@practice_command.command(name="patient")
@_options(*_PATIENT, "json")
def patient_command(as_json: bool, **o: Any) -> int:
    """Print what is wrong with a patient, without running anything."""
    setting = _setting(o)
    patient = practice.patient_of(setting, o["seed"], breaks_for(o["breaks"])(o["seed"]), **_noise(o))
    truth = practice.patient_dict(setting, patient, o["seed"])
    if as_json:
        print_json(truth)
    else:
        for one in truth["broken"]:
            click.echo(f"broken: net {one['net']}, {one['words'] or one['site']}")
        if not truth["broken"]:
            click.echo("Nothing is broken.")
    return 0


@practice_command.command(name="referee")
@_options("board", "socket", "machine")
@click.option("--policy", default="next", show_default=True, metavar="NAME", help=f"One of {POLICIES_SHOWN}.")
@click.option("--jsonl", is_flag=True, help="Steps and answers as JSON lines (the only form there is).")
def referee_command(policy: str, jsonl: bool, **o: Any) -> int:
    """A patient from outside: each step is printed, its answer is read from standard input.

    The answer is a line: closed, open, or an object {"says": "closed"}. At the end one line of kind result follows.
    """
    setting = _setting(o)
    foreign = _Foreign()
    result = practice.run(setting, foreign, policy, before=foreign.tell)
    click.echo(json.dumps(practice.referee_result(setting, result), ensure_ascii=False, allow_nan=False))
    return 0


class _Foreign:
    """A patient that someone else answers for."""

    def tell(self, step: practice.Step, p_open: float) -> None:
        """Print what is to be touched now."""
        row = {**step.as_dict(), "p": round(p_open, 6)}
        row.pop("answer")
        click.echo(json.dumps(row, ensure_ascii=False, allow_nan=False))
        sys.stdout.flush()

    def ask(self, point_a: str, point_b: str) -> practice.Answer:
        """Read the answer to the step just printed."""
        line = sys.stdin.readline()
        if not line:
            raise refuse("PRA-022", "The answers ended before the work did.", "Answer every step with closed or open.")
        word = line.strip()
        if word.startswith("{"):
            try:
                word = str(json.loads(word).get("says", ""))
            except (json.JSONDecodeError, AttributeError):
                word = ""
        if word not in ("closed", "open"):
            raise refuse("PRA-023", f"{line.strip()!r} is no answer.", 'Say closed, open or {"says": "closed"}.')
        return practice.Answer(word, None)


@practice_command.command(name="certificate")
@_options("board", "socket", "machine", "json")
def certificate_command(as_json: bool, **o: Any) -> int:
    """Print the round's certificate with all that is needed to recompute it: edges, sites at risk, points, checks."""
    data = practice.certificate_data(_setting(o))
    if as_json:
        print_json(data)
    else:
        click.echo(
            f"{data['checks']} checks; no list of fewer than {data['bound']} proves every provable site at risk."
        )
        for term in data["terms"]:
            click.echo(f"  net {term['net']}: {term['leaves']} leaves")
    return 0
