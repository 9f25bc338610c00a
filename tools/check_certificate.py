"""Recompute a round's certificate without the program that wrote it.

Input: the JSON of ``coppermend practice certificate --board PACKAGE --json`` (a file or standard input), or the lines of
``coppermend practice batch --jsonl``. For the first, every number is computed anew from the edges, the sites at risk and the points a tip can touch:
L' (leaves of each net's tree after all that needs no proof is contracted), the sum of ceil(L'/2), and whether the checks listed cover every site that
checks can prove. For the second, the sum is recomputed from the terms. Exit status 0 = the certificate holds, 1 = it does not, 2 = no certificate.

    python tools/check_certificate.py certificate.json
"""

from __future__ import annotations

import json
import sys
from pathlib import Path


def say(words: str) -> None:
    """One line on standard output."""
    sys.stdout.write(words + "\n")


def bridges(edges: list[tuple[int, int]]) -> set[int]:
    """Edges whose removal parts their ends, by trying each one: slow, simple, and shared with nobody."""
    found = set()
    for skip, (a, b) in enumerate(edges):
        near: dict[int, list[int]] = {}
        for i, (u, v) in enumerate(edges):
            if i != skip:
                near.setdefault(u, []).append(v)
                near.setdefault(v, []).append(u)
        seen, todo = {a}, [a]
        while todo:
            for w in near.get(todo.pop(), ()):
                if w not in seen:
                    seen.add(w)
                    todo.append(w)
        if b not in seen:
            found.add(skip)
    return found


def far_side(edges: list[tuple[int, int]], skip: int) -> set[int]:
    """Nodes on the side of edge ``skip``'s first end when it is taken out."""
    near: dict[int, list[int]] = {}
    for i, (u, v) in enumerate(edges):
        if i != skip:
            near.setdefault(u, []).append(v)
            near.setdefault(v, []).append(u)
    seen, todo = {edges[skip][0]}, [edges[skip][0]]
    while todo:
        for w in near.get(todo.pop(), ()):
            if w not in seen:
                seen.add(w)
                todo.append(w)
    return seen


def check_net(net: dict) -> tuple[list[int], list[str]]:
    """Leaves of each tree of one net, and what is wrong with its checks."""
    rows = [e for e in net["edges"] if e["a"] != e["b"]]
    edges = [(e["a"], e["b"]) for e in rows]
    touch = {t["node"] for t in net["terminals"]}
    risky = [i for i, e in enumerate(rows) if e["at_risk"]]
    only_way = bridges(edges)
    nodes = {n for pair in edges for n in pair} | touch
    sides: dict[int, set[int]] = {}
    for i in risky:
        if i in only_way:
            side = far_side(edges, i)
            reach = far_side([(b, a) if k == i else (a, b) for k, (a, b) in enumerate(edges)], i)
            if side & touch and reach & touch:
                sides[i] = side
    parent = {n: n for n in nodes}

    def find(n: int) -> int:
        while parent[n] != n:
            n = parent[n]
        return n

    for i, (a, b) in enumerate(edges):
        if i not in sides:
            parent[find(a)] = find(b)
    # series edges of one tree stay apart here; a group without a point and with two edges is passed through, which changes no leaf
    degree: dict[int, int] = {}
    for i in sides:
        for end in edges[i]:
            degree[find(end)] = degree.get(find(end), 0) + 1
    trees: dict[int, int] = {}
    join = {g: g for g in degree}

    def tree_of(g: int) -> int:
        while join[g] != g:
            g = join[g]
        return g

    for i in sides:
        a, b = (find(end) for end in edges[i])
        join[tree_of(a)] = tree_of(b)
    for g, d in degree.items():
        trees.setdefault(tree_of(g), 0)
        trees[tree_of(g)] += d == 1
    wrong = []
    for i, side in sides.items():
        if not any((c["a"] in side) != (c["b"] in side) for c in net["checks"]):
            wrong.append(f"net {net['name']}: no check covers {rows[i]['site']}")
    wrong += [
        f"net {net['name']}: a check touches node {n}, where no tip can go"
        for c in net["checks"]
        for n in (c["a"], c["b"])
        if n not in touch
    ]
    return sorted(trees.values()), wrong


def check_whole(data: dict) -> list[str]:
    """What is wrong with a full certificate; empty when it holds."""
    wrong: list[str] = []
    bound = 0
    said: dict[str, list[int]] = {}
    for term in data["terms"]:
        said.setdefault(term["net"], []).append(term["leaves"])
    for net in data["nets"]:
        leaves, bad = check_net(net)
        wrong += bad
        bound += sum((n + 1) // 2 for n in leaves)
        if leaves != sorted(said.get(net["name"], [])):
            wrong.append(f"net {net['name']}: {leaves} leaves found, {said.get(net['name'], [])} stated")
    checks = sum(len(net["checks"]) for net in data["nets"])
    if bound != data["bound"]:
        wrong.append(f"bound {bound} found, {data['bound']} stated")
    if checks != data["checks"]:
        wrong.append(f"{checks} checks listed, {data['checks']} stated")
    if checks != bound + data["excess"]:
        wrong.append(f"{checks} checks for a bound of {bound} and an excess of {data['excess']}")
    return wrong


def check_terms(certificate: dict) -> list[str]:
    """What is wrong with a short certificate (terms only)."""
    bound = sum((term["leaves"] + 1) // 2 for term in certificate["terms"])
    return [] if bound == certificate["bound"] else [f"bound {bound} found, {certificate['bound']} stated"]


def main(path: str | None) -> int:
    """Check the certificate in a file or on standard input."""
    if path:
        text = Path(path).read_text(encoding="utf-8")
    else:
        text = sys.stdin.read()
    try:
        rows = [json.loads(text)]
    except json.JSONDecodeError:
        try:
            rows = [json.loads(line) for line in text.splitlines() if line.strip()]
        except json.JSONDecodeError as err:
            rows = []
            say(f"this is no JSON: {err}")
    if not rows:
        say("no certificate was given")
        return 2
    wrong: list[str] = []
    try:
        for row in rows:
            wrong += check_whole(row) if "nets" in row else check_terms(row.get("certificate", row))
    except (KeyError, TypeError, AttributeError) as err:
        say(f"this is no certificate: {err}")
        return 2
    for line in wrong:
        say(line)
    say("the certificate does not hold" if wrong else "the certificate holds")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1] if len(sys.argv) > 1 else None))
