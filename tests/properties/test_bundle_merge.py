"""One case worked on at two or three benches, bundles carried between them in any order: nothing is lost, nothing is there twice, all agree."""

from __future__ import annotations

import io

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.fakes import CountingIds, MemoryStore

from coppermend.core.log.chain import check_chain
from coppermend.core.log.fold import fold
from coppermend.core.log.model import Draft
from coppermend.services.bundling.reading import open_bundle
from coppermend.services.bundling.taking import take_in
from coppermend.services.bundling.writing import write_bundle

WHEN = "2026-03-01T09:00:00.000Z"
BENCHES = ("a", "b", "c")
ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("note"), st.sampled_from(BENCHES), st.just("")),
        st.tuples(st.just("photo"), st.sampled_from(BENCHES), st.just("")),
        st.tuples(st.just("carry"), st.sampled_from(BENCHES), st.sampled_from(BENCHES)),
    ),
    max_size=25,
)


def carried(store: MemoryStore, case: str) -> io.BytesIO:
    out = io.BytesIO()
    write_bundle(out, store, [case])
    return out


@settings(max_examples=60)
@given(ACTS)
def test_benches_that_exchange_bundles_agree_in_the_end(acts: list[tuple[str, str, str]]) -> None:
    ids = CountingIds()
    case = ids.new()
    stores = {name: MemoryStore(name) for name in BENCHES}
    written: dict[str, bytes] = {}

    def write(name: str, kind: str, **payload: object) -> None:
        entry = stores[name].append(Draft(ids.new(), case, name, WHEN, WHEN, "x", kind, 1, payload))  # type: ignore[arg-type]
        written[entry.id] = entry.body()

    write("a", "case", title="M")
    for other in ("b", "c"):
        take_in(stores[other], open_bundle(carried(stores["a"], case)))
    for act, one, other in acts:
        if act == "carry":
            before = len(stores[other].entries(case))
            done = take_in(stores[other], open_bundle(carried(stores[one], case))).cases[0]
            assert done.entries == before + done.new
        elif act == "photo":
            data = ids.new().encode()
            write(one, "photo", sha256=stores[one].attach(data), media="image/png", bytes=len(data))
        else:
            write(one, "remark", words=f"at {one}")
    for _ in range(2):
        for one in BENCHES:
            for other in BENCHES:
                take_in(stores[other], open_bundle(carried(stores[one], case)))
    logs = [stores[name].entries(case) for name in BENCHES]
    assert {one.id: one.body() for one in logs[0]} == written and len(logs[0]) == len(written)
    assert [[one.body() for one in log] for log in logs] == [[one.body() for one in logs[0]]] * 3
    assert check_chain(logs[0]) == () and len({fold(log).sha256() for log in logs}) == 1
    assert all(stores[name].check() == () for name in BENCHES)
    assert len({carried(stores[name], case).getvalue() for name in BENCHES}) == 1
