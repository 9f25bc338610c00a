"""Zip archives: what is read and what is refused, with limits that do not believe the archive."""

from __future__ import annotations

import io
import struct
import zipfile

import pytest

from coppermend.core.findings import Refusal
from coppermend.formats.archive import MAX_MEMBERS, is_zip, read_zip


def packed(files: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def refused(data: bytes) -> str:
    with pytest.raises(Refusal) as refusal:
        read_zip(data, "board.zip")
    assert refusal.value.finding.place.file == "board.zip"
    assert refusal.value.finding.remedy
    return refusal.value.finding.code


def test_files_come_out_in_name_order_without_folders() -> None:
    data = packed({"b/x.gbr": b"2", "a.gbr": b"1", "b/": b""})
    assert is_zip(data)
    assert [(m.name, m.base, m.data) for m in read_zip(data, "board.zip")] == [
        ("a.gbr", "a.gbr", b"1"),
        ("b/x.gbr", "x.gbr", b"2"),
    ]


@pytest.mark.parametrize("name", ["/etc/x", "../x", "a/../../x", "..\\x", "C:/x", "C:\\x", "\\\\host\\x"])
def test_names_that_leave_the_archive_are_refused(name: str) -> None:
    assert refused(packed({name: b"1"})) == "ZIP-004"


def test_too_many_files_are_refused() -> None:
    assert refused(packed({f"{n}.gbr": b"1" for n in range(10_000)}, zipfile.ZIP_STORED)) == "ZIP-002"
    assert (
        len(read_zip(packed({f"{n}.gbr": b"1" for n in range(MAX_MEMBERS)}, zipfile.ZIP_STORED), "b.zip"))
        == MAX_MEMBERS
    )


def test_a_thousandfold_expansion_is_refused() -> None:
    assert refused(packed({"a.gbr": b"0" * (100 * 1024 * 1024)})) == "ZIP-007"


def test_a_false_size_claim_does_not_help() -> None:
    data = bytearray(packed({"a.gbr": b"0" * (100 * 1024 * 1024)}))
    central = data.index(b"PK\x01\x02")
    data[central + 24 : central + 28] = struct.pack("<I", 1000)  # uncompressed size in the central directory
    assert refused(bytes(data)) in ("ZIP-001", "ZIP-007")


def test_claimed_giants_are_refused_before_anything_is_unpacked() -> None:
    data = bytearray(packed({"a.gbr": b"0" * 1000}))
    central = data.index(b"PK\x01\x02")
    data[central + 24 : central + 28] = struct.pack("<I", 0xFFFFFFF0)
    assert refused(bytes(data)) == "ZIP-002"


def test_encrypted_and_linked_files_are_refused() -> None:
    data = bytearray(packed({"a.gbr": b"1"}))
    central = data.index(b"PK\x01\x02")
    data[central + 8] |= 1
    assert refused(bytes(data)) == "ZIP-005"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        info = zipfile.ZipInfo("a.gbr")
        info.external_attr = 0o120777 << 16
        archive.writestr(info, "/etc/x")
    assert refused(out.getvalue()) == "ZIP-004"


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"no zip at all"])
def test_what_is_no_archive_is_refused(data: bytes) -> None:
    assert refused(data) == "ZIP-001"


def test_a_cut_off_or_damaged_archive_is_refused() -> None:
    data = packed({"a.gbr": b"1" * 5000, "b.gbr": bytes(range(256)) * 50})
    assert refused(data[: len(data) // 2]) == "ZIP-001"
    broken = bytearray(data)
    broken[60:80] = b"\xff" * 20
    assert refused(bytes(broken)) == "ZIP-001"


def test_an_archive_without_files_is_refused() -> None:
    assert refused(packed({"folder/": b""})) == "ZIP-003"
