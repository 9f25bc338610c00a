"""The record as one HTML page: nothing loaded from anywhere, every word from a case escaped, readable by ear and on paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape as escape_markup
from typing import Any

from coppermend.services.recording.handled import (
    CHECK_NAMES,
    CHIP_NAMES,
    INTAKE_NAMES,
    LOOK_NAMES,
    START_NAMES,
    SUPPLY_NAMES,
)
from coppermend.services.recording.maps import printable as _plain
from coppermend.services.recording.model import (
    BreakRow,
    OhmsRow,
    Photo,
    Picture,
    PlanRow,
    PowerRow,
    ReadingRow,
    RecordView,
    StoryItem,
    WireRow,
)


def printable(value: Any) -> Any:
    r"""Every string in these JSON values without control characters; line breaks stay.

    >>> printable({"a": ["x\x00y", 1], "b": "1\n2"})
    {'a': ['xy', 1], 'b': '1\n2'}
    """
    if isinstance(value, str):
        return "\n".join(_plain(line) for line in value.split("\n"))
    if isinstance(value, dict):
        return {key: printable(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [printable(one) for one in value]
    return value


def escape(words: str) -> str:
    """Words safe inside an element or a quoted attribute."""
    return escape_markup(printable(words))


POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"

STYLE = """
:root{--ink:#1b1a17;--soft:#655f51;--line:#d8d0bf;--paper:#fffdf8;--sound:#1f6b4a;--break:#b4420c}
*{box-sizing:border-box}
body{margin:0;background:#efe9dc;color:var(--ink);font:17px/1.55 Georgia,'Libertinus Serif',serif}
main,header,footer{max-width:60rem;margin:0 auto;padding:1.2rem 2rem;background:var(--paper)}
header{padding-top:2.4rem;border-top:.5rem solid var(--ink)}
h1{font-size:2.1rem;line-height:1.15;margin:.2rem 0 1rem}
h2{font-size:1.35rem;margin:2.2rem 0 .6rem;padding-top:.5rem;border-top:1px solid var(--line)}
h3,h2.said{font-size:1.05rem;margin:1.2rem 0 .3rem;border:0;padding:0}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1.2rem;margin:0}
dt{color:var(--soft)}dd{margin:0;overflow-wrap:anywhere}
blockquote{margin:.6rem 0;padding:.2rem 0 .2rem 1rem;border-left:.25rem solid var(--line);font-style:italic}
table{border-collapse:collapse;width:100%;font-size:.92rem;margin:.5rem 0}
caption{text-align:left;color:var(--soft);padding-bottom:.3rem}
th,td{text-align:left;vertical-align:top;padding:.28rem .7rem .28rem 0;border-bottom:1px solid var(--line);overflow-wrap:anywhere}
th{font-weight:600}
td.n,th.n{white-space:nowrap;font-variant-numeric:tabular-nums}
figure{margin:1rem 0}figure svg,figure img{width:100%;height:auto;border:1px solid var(--line)}
figcaption{color:var(--soft);font-size:.92rem}
.undone{text-decoration:line-through;color:var(--soft)}
.caution{border-left:.35rem solid var(--break);padding:.1rem 0 .1rem 1rem}
a{color:inherit}a:focus-visible{outline:3px solid var(--sound)}
.skip{position:absolute;left:-99rem}.skip:focus{left:1rem;top:1rem;background:#fff;padding:.5rem}
@media print{body{background:#fff;font-size:10.5pt}main,header,footer{padding:0;max-width:none}h2{break-after:avoid}tr,figure{break-inside:avoid}nav{display:none}}
"""


def record_html(view: RecordView) -> str:
    """The record as an HTML document."""
    head = view.heading
    sections = [one for one in _sections(view) if one[2]]
    contents = "".join(f'<li><a href="#{key}">{escape(title)}</a></li>' for key, title, _ in sections)
    body = "".join(
        f'<section aria-labelledby="{key}"><h2 id="{key}">{escape(title)}</h2>{text}</section>'
        for key, title, text in sections
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(POLICY)}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="referrer" content="no-referrer">'
        f"<title>{escape(head.title)}: repair record</title><style>{STYLE}</style></head><body>"
        '<a class="skip" href="#record">Skip to the record</a>'
        f"<header><p>{title_of(view)}</p><h1>{escape(head.title)}</h1>{_heading(view)}</header>"
        f'<main id="record" tabindex="-1"><nav aria-label="Contents"><ul>{contents}</ul></nav>{body}</main>'
        f"<footer><p>{escape(closing(view))}</p></footer></body></html>\n"
    )


def title_of(view: RecordView) -> str:
    """What stands over the machine's name."""
    return "Repair record for the owner" if view.reader == "owner" else "Repair record"


def photo_line(one: Photo) -> str:
    """When a photo was taken, and at which moment of the repair."""
    return f"{one.moment.capitalize()}, {one.when}:" if one.moment else one.when


def closing(view: RecordView) -> str:
    """The last line: where this record comes from and how to check it."""
    head = view.heading
    return (
        f"Made by Coppermend from the {head.entries} entries of case {head.case}, the last of {head.last}. "
        f"SHA-256 of the last entry, which closes the chain over all of them: {head.log_sha256}."
    )


def heading_rows(view: RecordView) -> tuple[tuple[str, str], ...]:
    """Name and value of what stands at the top; empty values are left out."""
    head = view.heading
    rows = (
        ("Machine", head.title),
        ("Board", head.board),
        ("Serial number", head.serial),
        ("Owner", head.owner),
        ("Opened", head.opened),
        ("Last entry", head.last[:10]),
        ("State", head.progress),
        ("Case", f"{head.number} ({head.case})" if head.number else head.case),
    )
    return tuple((name, value) for name, value in rows if value)


def _heading(view: RecordView) -> str:
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in heading_rows(view))
    complaint = view.heading.complaint
    said = f"<h2 class='said'>What the owner said</h2><blockquote>{_lines(complaint)}</blockquote>" if complaint else ""
    return f"<dl>{rows}</dl>{said}"


def _sections(view: RecordView) -> Iterable[tuple[str, str, str]]:
    yield "wrong", "What was wrong", _list(view.wrong)
    yield "done", "What was done", _list(view.done)
    if view.reader == "owner":
        yield "tests", "What was tested", _table("", ("Function", "Result", "Remark"), view.tests)
    yield "open", "What is left", _list(view.still_open)
    yield "arrival", "When it arrived", _table("", INTAKE_NAMES, view.intake, (2,))
    yield "what", "In short", _list(view.summary)
    yield "left", "What remains to be tested", _list(view.remaining)
    yield "cautions", "Cautions", f'<div class="caution">{_list(view.cautions)}</div>' if view.cautions else ""
    yield "breaks", "What was broken", _findings(view.findings)
    yield "ohms", "What ohms readings found", _by_ohms(view.by_ohms)
    yield "wires", "Patch wires", _wires(view.wires)
    yield "maps", "The board", "".join(_figure(one) for one in view.maps)
    yield "photos", "Photos", "".join(_photo(one) for one in view.photos)
    yield "plans", "Plans of the rework", "".join(_plan(one) for one in view.plans)
    yield "care", "Cleaned and protected", _table("", ("Work", "Step", "How it stands", "Remark"), view.care)
    yield "power", "Switched on", _power(view.power)
    yield "looks", "Looked at", _table("", LOOK_NAMES, view.looks, (0,))
    yield "supply", "The supply", _table("", SUPPLY_NAMES, view.supply)
    chips = _table("", CHIP_NAMES, view.chips) + _table("When a chip went out or in.", CHECK_NAMES, view.chip_checks)
    yield "chips", "Chips and contacts", chips
    yield "starts", "Starts counted", _table("", START_NAMES, view.starts, (0,))
    yield "symptoms", "Symptoms", _table("", SYMPTOM_NAMES, view.symptoms, (0,))
    yield "waves", "Waves measured", _table("", WAVE_NAMES, view.waves, (0,)) + _figures(view.wave_pictures)
    yield "warm", "Thermal pictures", _table("", WARM_NAMES, view.warm, (0,)) + _figures(view.warm_pictures)
    yield "suspects", "Suspects", _suspects(view)
    yield "course", "Suspects over time", _course(view)
    if view.reader != "owner":
        yield "tests", "Functions tested", _table("", ("Function", "Result", "Remark"), view.tests)
    yield "used", "Parts and time", _table("", ("What", "How much"), view.used)
    yield "proven", "What is proven", _proven(view)
    yield "unprovable", "What a continuity check cannot prove", _unprovable(view)
    yield "story", "The story as it happened", _story(view.story)
    yield "readings", "Every reading", _readings(view.readings)
    yield "package", "What was noticed about the fabrication data", _package(view)
    yield "numbers", "Numbers this rests on", _table("", ("Assumption", "Value"), view.assumptions)


def _lines(words: str) -> str:
    """Escaped words with their line breaks kept."""
    return escape(words).replace("\n", "<br>")


def _list(words: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{_lines(one)}</li>" for one in words) + "</ul>" if words else ""


def _table(caption: str, names: Sequence[str], rows: Iterable[Sequence[str]], narrow: Sequence[int] = ()) -> str:
    """A table with a header row; "" without rows. ``narrow`` columns do not wrap."""
    mark = [' class="n"' if i in narrow else "" for i in range(len(names))]
    body = "".join(
        "<tr>" + "".join(f"<td{mark[i]}>{_lines(cell)}</td>" for i, cell in enumerate(row)) + "</tr>" for row in rows
    )
    if not body:
        return ""
    head = "".join(f'<th scope="col"{mark[i]}>{escape(name)}</th>' for i, name in enumerate(names))
    said = f"<caption>{escape(caption)}</caption>" if caption else ""
    return f"<table>{said}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _findings(findings: Sequence[BreakRow]) -> str:
    rows = [(str(f.number), f.net, f.words, f.sure, f.mended) for f in findings]
    return _table("Numbers stand in squares on the maps.", ("No.", "Net", "Where", "How sure", "Mended by"), rows, (0,))


OHMS_NAMES = ("What", "Net", "Where", "How much", "How sure of the place", "Readings")


def _by_ohms(rows: Sequence[OhmsRow]) -> str:
    table = [(r.kind, r.nets, r.words, r.ohms, r.band, "\n".join(r.readings)) for r in rows]
    return (
        _table("", OHMS_NAMES, table)
        + _list(ohms_ellipses(rows))
        + "".join(
            f"<details open><summary>{escape(words)}</summary>{_list(assumed)}</details>"
            for words, assumed in ohms_rests(rows)
        )
    )


def ohms_ellipses(rows: Sequence[OhmsRow]) -> tuple[str, ...]:
    """The ellipse of each short's place, with its nets."""
    return tuple(f"{row.nets}: {row.ellipse}" for row in rows if row.ellipse)


def ohms_rests(rows: Sequence[OhmsRow]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """A heading and what these places rest on; places that rest on the same stand together."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        if row.assumed:
            alike.setdefault(row.assumed, []).append(row.nets)
    return tuple((f"What this rests on: {'; '.join(nets)}", assumed) for assumed, nets in alike.items())


def _wires(wires: Sequence[WireRow]) -> str:
    rows = [(str(w.number), w.ends, w.wire, w.fitted, w.proof) for w in wires]
    return _table("Numbers stand in circles on the maps.", ("No.", "From, to", "Wire", "Fitted", "Proof"), rows, (0,))


def _figures(some: Sequence[Picture]) -> str:
    return "".join(_figure(one) for one in some)


def _figure(one: Picture) -> str:
    label = f"{one.name}-alt"
    svg = one.svg.replace(' role="img"', "", 1).replace("<svg ", f'<svg role="img" aria-labelledby="{label}" ', 1)
    at = svg.index(">") + 1
    svg = f'{svg[:at]}<title id="{label}">{escape(one.alt)}</title>{svg[at:]}'
    return f"<figure><figcaption>{escape(one.title)}</figcaption>{svg}</figure>"


LIMIT_NAMES = ("Limit", "Found", "Allowed", "Kept", "Source")


def _plan(one: PlanRow) -> str:
    """A plan with its diagram, limits and what it rests on."""
    rests = f"<details open><summary>What this rests on</summary>{_list(one.assumed)}</details>" if one.assumed else ""
    return (
        f"<h3>{escape(one.title)}</h3><p>{escape(one.when)} {_lines(one.words)}</p>"
        f"{_figure(one.picture) if one.picture else ''}{_table('', LIMIT_NAMES, one.limits)}"
        f"{''.join(_table(table.title, table.names, table.rows) for table in one.tables)}{rests}"
    )


def _photo(one: Photo) -> str:
    said = f"<figcaption>{escape(photo_line(one))} {escape(one.words)}</figcaption>"
    if not one.jpeg:
        return f"<figure><p>This photo cannot be decoded; the case keeps it.</p>{said}</figure>"
    source = f"data:image/jpeg;base64,{escape(one.jpeg)}"
    return f'<figure><img src="{source}" alt="{escape(one.words or "photo")}">{said}</figure>'


def _power(rows: Sequence[PowerRow]) -> str:
    table = [(p.when, "\n".join(p.repairs) or "nothing", p.guarded, "\n".join(p.seen) or "nothing noted") for p in rows]
    return _table("", ("When", "Done since the last time", "Guarded by", "Seen"), table, (0,))


SYMPTOM_NAMES = ("When", "What was seen", "How it stands")
WAVE_NAMES = ("When", "Where", "Channel", "Measured", "Verdict")
WARM_NAMES = ("When", "Part", "Measured", "Expected", "Verdict")
COURSE_NAMES = ("When", "What was seen or done", "Likeliest then", "Probability")
SUSPECT_NAMES = ("How likely", "What", "For", "Against", "What would clear it")


def _suspects(view: RecordView) -> str:
    rows = [(s.p, s.words, "\n".join(s.pro) or "-", "\n".join(s.con) or "-", s.clears) for s in view.suspects]
    return _table("As everything that was seen leaves it.", SUSPECT_NAMES, rows, (0,))


def _course(view: RecordView) -> str:
    said = f"<p>{escape(view.course_note)}</p>" if view.course_note else ""
    return said + _table("Modelled probabilities, not a promise.", COURSE_NAMES, view.course, (0, 3))


def _proven(view: RecordView) -> str:
    rows = [(n.net, f"{n.proven} of {n.at_risk}", "\n".join(n.open_places) or "all proven sound") for n in view.proven]
    return _table(
        "Places in the work areas where a connection could have failed, net by net.",
        ("Net", "Proven", "Still open"),
        rows,
        (1,),
    )


def _unprovable(view: RecordView) -> str:
    rows = [(u.words, u.why, u.would) for u in view.unprovable]
    return _table("", ("Where", "Why not", "What would prove it"), rows)


def _story(items: Sequence[StoryItem]) -> str:
    rows = []
    for one in items:
        strike = ' class="undone"' if one.undone else ""
        note = " (taken back)" if one.undone else ""
        rows.append(
            f'<tr><td class="n">{escape(one.numbers)}</td><td class="n">{escape(one.date)} {escape(one.time)}</td>'
            f"<td><span{strike}>{_lines(one.words)}</span>{note}</td><td>{escape(one.author)}</td></tr>"
        )
    if not rows:
        return ""
    return (
        '<table><thead><tr><th scope="col" class="n">Entry</th><th scope="col">When (UTC)</th><th scope="col">What</th>'
        f'<th scope="col">By</th></tr></thead><tbody>{"".join(rows)}</tbody></table>'
    )


def _readings(readings: Sequence[ReadingRow]) -> str:
    rows = [(str(r.number), r.when, r.point_a, r.point_b, r.net, r.says, r.instrument) for r in readings]
    return _table("", ("Entry", "When", "Tip A", "Tip B", "Net", "Reading", "With"), rows, (0, 1))


def _package(view: RecordView) -> str:
    notes = [(n.severity, n.code, n.words) for n in view.package_notes]
    text = _table("", ("Kind", "Code", "What"), notes, (0, 1))
    if view.corrections:
        text += f"<h3>Corrections beside the package</h3><pre>{escape(view.corrections)}</pre>"
    return text
