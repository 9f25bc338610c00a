"""``coppermend case|area|next|round|note|photo``: the case and its log."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from coppermend.bootstrap import learned_book
from coppermend.cli import print_json
from coppermend.cli.casefinding import case_find, case_list
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import CASE, JSON, check_line, margin, say_next, shop, shop_and_case, step_lines
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.core.planning.model import NextStep
from coppermend.services import sheets
from coppermend.services.areas import add_area
from coppermend.services.bench import (
    need_areas,
    next_for_case,
    proven_for_case,
    round_for_case,
    spans_for_case,
    step_as_dict,
)
from coppermend.services.bind import bind
from coppermend.services.bundles import export_case, import_case
from coppermend.services.cases import CaseView, case_state, name_board, new_case
from coppermend.services.cautions import cautions
from coppermend.services.learning import begin_with_learned, learn_from
from coppermend.services.map_trust import next_with_map
from coppermend.services.notes import note
from coppermend.services.photos import attach_photo
from coppermend.services.power import CAUTION
from coppermend.services.prepared import everything_counts
from coppermend.services.rails import show_case_with_rails
from coppermend.services.togo import to_go
from coppermend.services.typed import request_from_words
from coppermend.services.waiting import waits_of
from coppermend.services.workshop import Workshop

PASS_ON = {"ignore_unknown_options": True, "allow_interspersed_args": False}


@click.group("case")
def case_command() -> None:
    """Cases: open one, list them, see where one stands, take one elsewhere."""


@case_command.command("new")
@click.option(
    "--board", "package", required=True, metavar="PACKAGE", help="Folder or zip of fabrication data, or the word demo."
)
@click.option("--title", required=True, help="What the machine is called.")
@click.option("--serial", default="", help="Its serial number.")
@click.option("--complaint", default="", help="What the owner says is wrong.")
@click.option("--owner", default="", help="Whose it is.")
@JSON
@click.pass_context
def case_new(
    ctx: click.Context, package: str, title: str, serial: str, complaint: str, owner: str, as_json: bool
) -> None:
    """Open a case on a board."""
    made = shop(ctx)
    view = new_case(made, package, title, serial=serial, complaint=complaint, owner=owner)
    learned = begin_with_learned(made, view.state.case, learned_book((ctx.find_root().obj or {}).get("store")))
    if as_json:
        print_json({"case": view.state.case, "number": view.number, "title": title})
        return
    click.echo(f"Case {view.number} opened: {title} ({view.state.case}).")
    if learned:
        click.echo(f"It is planned with what past cases taught: coppermend learn show {view.number}.")
    click.echo(
        f"Next: mark where the copper was disturbed, e.g. coppermend area add {view.number} --part U1 --kind rework --severity 2"
    )


case_command.add_command(case_list)
case_command.add_command(case_find)


@case_command.command("show")
@CASE
@JSON
@click.pass_context
def case_show(ctx: click.Context, case: str, as_json: bool) -> None:
    """Where a case stands: its story, its work areas, the gate before power, what is next."""
    made, found = shop_and_case(ctx, case)
    view = show_case_with_rails(made, found)
    if as_json:
        print_json({**view.as_dict(), "touching": list(proven_for_case(made, found).touching)})
        return
    _print_view(made, view)
    for line in proven_for_case(made, found).touching:
        click.echo(f"Short: {line.replace(' CASE', f' {case}')}")
    say_next(made, found)


def _print_view(made: Workshop, view: CaseView) -> None:
    state = view.state
    head = [
        state.title,
        f"serial {state.serial}" if state.serial else "",
        f"owner {state.owner}" if state.owner else "",
    ]
    click.echo(f"Case {view.number}: {', '.join(one for one in head if one)}  ({state.case})")
    if state.complaint:
        click.echo(f"Complaint: {state.complaint}")
    names = sorted({item.author for item in state.timeline})
    click.echo(f"Story, all by {names[0]}:" if len(names) == 1 and names[0] else "Story:")
    for item in state.timeline:
        if item.kind == "basis":
            continue
        gone = "  [taken back]" if item.undone else ""
        by = f"  ({item.author or 'nobody named'})" if len(names) > 1 else ""
        ref = item.ref if item.bench == made.store.bench else item.entry[-6:]
        click.echo(f"  {ref:>4}  {item.observed_at}  {item.words}{gone}{by}")
    for waiting in waits_of(made, view.state.case):
        if not waiting.wait.ended_at:
            click.echo(f"It {waiting.words}.")
    click.echo("Where it stands:")
    for line in view.where:
        click.echo(f"  {line}")
    if view.gate.open:
        click.echo(
            "Power: "
            + (f"the gate was passed over: {view.gate.overridden}" if view.gate.overridden else "the gate is open.")
        )
    else:
        click.echo(f"Power: not yet; {len(view.gate.missing)} of {len(view.gate.items)} things are to be done first:")
        for one in view.gate.missing:
            click.echo(f"  {one.item}: {one.words}")


@case_command.command("board")
@CASE
@click.option("--board", "package", required=True, metavar="PACKAGE", help="Where its package is now.")
@click.option("--changed", is_flag=True, help="Its files were corrected since the case was opened.")
@click.pass_context
def case_board(ctx: click.Context, case: str, package: str, changed: bool) -> None:
    """Say where a case's package is now (moved, or the case was imported)."""
    made, found = shop_and_case(ctx, case)
    entry = name_board(made, found, package, changed=changed)
    click.echo(f"Noted as {entry.bench_seq}: the package is {entry.payload['package']}.")


@case_command.command("export")
@CASE
@click.option(
    "--to", "file", type=click.Path(path_type=Path, dir_okay=False), help="File to write; default case-NUMBER.zip."
)
@click.pass_context
def case_export(ctx: click.Context, case: str, file: Path | None) -> None:
    """Write a case as one open file: its log as JSON lines, its attachments, checksums."""
    made, found = shop_and_case(ctx, case)
    data = export_case(made, found)
    target = file or Path(f"case-{made.store.number_of(found)}.zip")
    try:
        target.write_bytes(data)
    except OSError as err:
        raise refuse(
            "CLI-001",
            f"The file cannot be written: {err.strerror or err}.",
            "Name another file with --to.",
            Place(file=str(target)),
        ) from err
    click.echo(f"Wrote {target} ({len(data)} bytes).")


@case_command.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@JSON
@click.pass_context
def case_import(ctx: click.Context, file: Path, as_json: bool) -> None:
    """Take in an exported case; everything is verified before anything is written."""
    answer = import_case(shop(ctx), file_bytes(file), file.name)
    if as_json:
        print_json(answer.as_dict())
        return
    click.echo(f"Case {answer.number}: {answer.new} new entries, {answer.entries} in all.")


@click.group("area")
def area_command() -> None:
    """Work areas: where the copper was disturbed or attacked."""


@area_command.command("add")
@CASE
@click.option("--part", default="", help="Round the pins of this part.")
@margin("How far round the pins.")
@click.option("--polygon", default="", metavar="'X,Y X,Y ...'", help="Corners in mm, in order round the area.")
@click.option(
    "--kind",
    type=click.Choice(["rework", "corrosion", "impact"]),
    default="rework",
    show_default=True,
    help="What happened to the copper there.",
)
@click.option("--severity", type=click.IntRange(1, 3), default=2, show_default=True, help="1 light, 3 heavy.")
@click.option("--label", default="", help="A name for it.")
@JSON
@click.pass_context
def area_add(
    ctx: click.Context,
    case: str,
    part: str,
    margin_mm: float,
    polygon: str,
    kind: str,
    severity: int,
    label: str,
    as_json: bool,
) -> None:
    """Mark a work area round a part or as a polygon."""
    made, found = shop_and_case(ctx, case)
    corners = _corners(polygon)
    answer = add_area(
        made, found, part=part, polygon=corners, margin_mm=margin_mm, kind=kind, severity=severity, label=label
    )
    if as_json:
        print_json(answer.as_dict())
        return
    click.echo(f"Noted as {answer.entry.bench_seq}: {answer.words}.")
    say_next(made, found)


def _corners(text: str) -> list[tuple[float, float]]:
    corners = []
    for word in text.replace(";", " ").split():
        try:
            x, y = word.split(",")
            corners.append((float(x), float(y)))
        except ValueError as err:
            raise refuse(
                "CLI-003", f"{word!r} is no corner.", "Write corners like 10.5,20 in mm, separated by spaces."
            ) from err
    return corners


@case_command.command("numbers")
@CASE
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="PATH=NUMBER",
    help="Change a number, such as priors.prior_in.joint=0.05. May be repeated.",
)
@JSON
@click.pass_context
def case_numbers(ctx: click.Context, case: str, changes: tuple[str, ...], as_json: bool) -> None:
    """Show the numbers that the belief and the plan of a case use, or change some (entries of its log): priors, error rates, thresholds, meter, times."""
    from coppermend.services.adjust import numbers_for_case, set_numbers

    made, found = shop_and_case(ctx, case)
    if changes:
        set_numbers(made, found, dict(_change(one) for one in changes))
    now = numbers_for_case(made, found)
    if as_json:
        print_json(now)
        return
    for path, value in _flat(now):
        click.echo(f"  {path:<36} {value}")


def _change(text: str) -> tuple[str, float]:
    path, _, value = text.partition("=")
    try:
        return path.strip(), float(value)
    except ValueError:
        raise refuse(
            "CAS-008", f"{text!r} is no change of a number.", "Write it like: --set priors.false_open=0.03."
        ) from None


def _flat(value: object, path: str = "") -> Iterator[tuple[str, object]]:
    """The numbers of nested tables with their paths."""
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _flat(one, f"{path}.{name}" if path else str(name))
    else:
        yield path, value


@click.command("next")
@CASE
@click.option(
    "--map",
    "with_map",
    is_flag=True,
    help="First ask whether map and board agree (at most eight checks on untouched copper).",
)
@JSON
@click.pass_context
def next_command(ctx: click.Context, case: str, with_map: bool, as_json: bool) -> None:
    """The next step, with its reason and its modelled cost.

    Before the first power-up it is the copper's; once a start was noted it is chosen among everything: looks, tests, mends, copper, asking the owner.
    Where intake says that display and cables are known good and nothing else is plugged in, a start can tell something: the round is then weighed against it.
    """
    made, found = shop_and_case(ctx, case)
    step = next_with_map(made, found) if with_map else _of_everything(ctx, made, found)
    go = to_go(bind(made, found), step) if with_map or step is next_for_case(made, found) else None
    if as_json:
        print_json({**step_as_dict(step), "to_go": plain(go)})
        return
    for line in step_lines(step, go):
        click.echo(line)
    if step.kind in ("gate", "power"):
        click.echo(CAUTION)


def _of_everything(ctx: click.Context, made: Workshop, case: str) -> NextStep:
    """The step of the whole repair; before anything was switched on that is the copper's, and nothing more is loaded for it."""
    state, step = case_state(made, case), next_for_case(made, case)
    if not everything_counts(state, step):
        return step
    from coppermend import bootstrap
    from coppermend.services.whole import next_of_all

    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    return next_of_all(made, case, book, bootstrap.machine_model(state.package, None))


FIRST_PLACES = 12
"""So many places not proven are named under a round; before the first reading there are hundreds, and the list of checks is what is wanted."""


@click.command("round")
@CASE
@click.option("--print", "sheet", is_flag=True, help="The round as a sheet to print and fill in by hand.")
@click.option(
    "--type-back",
    "answers",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Note the answers typed back from a sheet.",
)
@click.option(
    "--all", "every_place", is_flag=True, help=f"Name every place not proven, not only the first {FIRST_PLACES}."
)
@JSON
@click.pass_context
def round_command(
    ctx: click.Context, case: str, sheet: bool, answers: Path | None, every_place: bool, as_json: bool
) -> int:
    """The checks that prove the work areas, in order, with the certificate of their number. Status 1 while a check is left, an open reading is
    unexplained, or something that can be proven is not, a patch wire too."""
    made, found = shop_and_case(ctx, case)
    if answers is not None:
        back = sheets.type_back(made, found, file_bytes(answers).decode("utf-8", "replace"))
        if as_json:
            print_json(back.as_dict())
        else:
            before = f" {back.known} had been typed back before." if back.known else ""
            click.echo(f"{back.noted} answers noted, {back.left_out} lines without an answer.{before}")
            say_next(made, found)
        return 0
    if sheet:
        click.echo(sheets.round_sheet(made, found))
        return 0
    need_areas(made, found)
    plan, proof = round_for_case(made, found), proven_for_case(made, found)
    step = next_for_case(made, found)
    go = to_go(bind(made, found), step)
    if as_json:
        print_json(
            {
                "to_go": plain(go),
                "round": plain(plan),
                "proof": proof.as_dict(),
                "spans": [plain(one) for one in spans_for_case(made, found)],
            }
        )
        return 0 if proof.all_proven and not plan.checks else 1
    click.echo(
        f"{len(plan.checks)} continuity checks, {plan.seconds / 60:.1f} min modelled; at least {plan.bound} are needed."
    )
    if plan.excess > 0:
        click.echo(f"{plan.excess} more than needed save {plan.excess_saves_s:.0f} s modelled.")
    for number, check in enumerate(plan.checks, 1):
        click.echo(f"  {number:>3}. {check_line(check)}")
    click.echo(
        f"{len(plan.isolation)} isolation checks, {plan.isolation_seconds / 60:.1f} min modelled (window {plan.window_mm:g} mm)."
    )
    for number, check in enumerate(plan.isolation, len(plan.checks) + 1):
        click.echo(f"  {number:>3}. {check_line(check)}")
    if step.check is not None:
        click.echo(f"{go.words}: with what follows up an open reading, and what only ohms prove.")
    for line in proof.touching:
        click.echo(f"Short: {line.replace(' CASE', f' {case}')}")
    for line in proof.parted:
        click.echo(f"Cut: {line}")
    for span in spans_for_case(made, found):
        click.echo(f"Break: {span.words} (P {span.p:.3f})")
    if not proof.words:
        pairs = len(plan.isolation)
        unread = f"the copper is proven; {pairs} {'pair' if pairs == 1 else 'pairs'} of nets beside it {'is' if pairs == 1 else 'are'} not read apart yet."
        click.echo(
            f"If you stop now: {unread if pairs else 'nothing in the work areas is left unproven.'}"
            if proof.at_risk
            else "Nothing is marked as at risk."
        )
    else:
        click.echo("If you stop now:")
    for line in proof.words if every_place else proof.words[:FIRST_PLACES]:
        click.echo(f"  {line}")
    left = 0 if every_place else max(len(proof.words) - FIRST_PLACES, 0)
    if left:
        click.echo(f"  and {left} more: coppermend round {case} --all")
    return 0 if proof.all_proven and not plan.checks else 1


@click.command("note", context_settings=PASS_ON)
@CASE
@click.argument("kind")
@click.argument("words", nargs=-1, type=click.UNPROCESSED)
@click.pass_context
def note_command(ctx: click.Context, case: str, kind: str, words: tuple[str, ...]) -> None:
    """Note anything: note CASE KIND POINT [POINT] [VALUE] [words].

    \b
    Readings  closed|open A B, ohms A B 4.7k, volts A [B] 5.02V, diode A B 0.6V, level A low|high|toggling|floating|stuck, heat U1 41C
              (level A holds|even: millivolts compared along a net lead to A, or to no pin)
              level also: with=scope|probe|meter|analyser (what A was looked at with); any reading: when=cold|warm|...
              (closed, open, ohms and skip without points answer the current check)
              ohms also: 4wire, step=10m (last digit), zeroed (leads taken off), sense P Q (current at A B, voltage at P Q), 1.2mV@500mA as the value
    Parts     look|clean|press|tap U1 ..., reseat U1, remove U1, fit U1 [socketed|soldered], swap U1, piggyback U1, state U1 socketed
              with effect=none|changed|cured|worse (what the machine then showed), with=C7 out=C3 (labels of chips), trial (put back)
    Copper    patch A B [30awg] [62mm], cut A B or cut X,Y/s [stays], solder A, clean A B or clean X,Y/s, skip A
    Power     gate intake|orientation|rails|supply|limit|override ..., power on|off, seen screen=black sound='two beeps' current=350mA ...
    Words     symptom [code=SCREEN] ... (as the machine's file names it), remark ..., test ITEM works|fails, progress ready
    Back      undo [NUMBER]

    --json as the last word prints one JSON object with the entry and the next step.
    """
    if {"-h", "--help"} & set(words):
        click.echo(ctx.get_help())
        return
    made, found = shop_and_case(ctx, case)
    as_json = bool(words) and words[-1] == "--json"
    answer = note(made, found, request_from_words(made, found, kind, words[:-1] if as_json else words))
    taught = kind == "progress" and learn_from(made, learned_book((ctx.find_root().obj or {}).get("store")), found)
    if as_json:
        careful = cautions(made, found, answer.entry)
        print_json({**answer.as_dict(), "careful": list(careful), "next": step_as_dict(next_for_case(made, found))})
        return
    click.echo(f"Noted as {answer.entry.bench_seq}: {answer.words}.")
    if taught:
        click.echo("What this case teaches of its board model is kept: coppermend learn show.")
    for words_of_care in cautions(made, found, answer.entry):
        click.echo(f"Careful: {words_of_care}")
    say_next(made, found)


@click.command("photo")
@CASE
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--words", default="", help="What it shows.")
@click.option("--side", type=click.Choice(["c", "s"]), default=None, help="Component or solder side.")
@click.pass_context
def photo_command(ctx: click.Context, case: str, file: Path, words: str, side: str | None) -> None:
    """Keep a photo with a case."""
    made, found = shop_and_case(ctx, case)
    answer = attach_photo(made, found, file_bytes(file), name=file.name, words=words, side=side or "")
    click.echo(f"Noted as {answer.entry.bench_seq}: {answer.words}.")
