"""The case on disk: nothing that was acknowledged is lost, whatever happens to the program."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matrixdoc.case.case import Entry
from matrixdoc.case.file import (
    CaseFile,
    CaseFileError,
    Header,
    case_path,
    cases_folder,
    list_cases,
    open_case,
)
from matrixdoc.case.record import (
    RecordError,
    entry_from_record,
    entry_record,
    settings_from_record,
    settings_record,
)
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.diagnosis.settings import Settings

HEADER = Header(
    "pier job", "Pocket pier", "pocket.yaml", "abc123", Settings(sat_for_years=True), "2031-04-05T06:07"
)
SEEN = Finding(
    Situation(held=("switch/C1R1", "switch/C1R2")),
    Look("reads"),
    frozenset({"switch/C1R1", "switch/C2R2", "switch/C1R2"}),
    "both, and a third",
)

references = st.text(max_size=20)
names = st.lists(references, max_size=4).map(tuple)
situations = st.builds(
    Situation, power=st.booleans(), held=names, lamps=names, pulsed=references, opened=names
)
looks = st.builds(
    Look,
    kind=st.sampled_from(["reads", "lamp", "coil", "resting coils", "fuse", "meter"]),
    target=references,
    function=st.sampled_from(["", "volts", "ohms", "diode"]),
    red=references,
    black=references,
)
outcomes = st.one_of(
    st.frozensets(references, max_size=5), references, st.floats(allow_nan=False, allow_infinity=False)
)
findings = st.builds(Finding, situation=situations, look=looks, outcome=outcomes, words=references)
entries = st.one_of(
    st.builds(
        Entry, number=st.integers(1, 10**6), kind=st.just("finding"), finding=findings, text=references
    ),
    st.builds(
        Entry,
        number=st.integers(1, 10**6),
        kind=st.sampled_from(["decline", "repair", "retraction", "note"]),
        time=references,
        author=references,
        check_key=references,
        parts=names,
        action=references,
        target=st.integers(0, 10**6),
        text=references,
    ),
)


@given(entries)
def test_an_entry_survives_the_round_trip_through_json(entry: Entry) -> None:
    line = json.dumps(entry_record(entry))
    assert line.isascii()
    assert "\n" not in line
    assert "\x1b" not in line
    back = entry_from_record(json.loads(line))
    assert back == entry
    if entry.finding is not None:
        assert back.finding is not None
        assert type(back.finding.outcome) is type(entry.finding.outcome)


def test_sets_are_written_sorted_so_that_equal_cases_are_equal_files() -> None:
    record = entry_record(Entry(1, "finding", finding=SEEN))
    assert record["finding"]["outcome"] == ["switch/C1R1", "switch/C1R2", "switch/C2R2"]


def test_settings_survive_the_round_trip() -> None:
    settings = Settings(2.5, 0.0, 0.01, 0.02, ("driver",), ("logic",), True, ("head",), 0.0, 0.05)
    assert settings_from_record(json.loads(json.dumps(settings_record(settings)))) == settings
    assert settings_record(Settings()) == {}


@pytest.mark.parametrize(
    "record",
    [
        None,
        [],
        {},
        {"number": 1},
        {"number": 0, "kind": "note"},
        {"number": True, "kind": "note"},
        {"number": 1, "kind": "gossip"},
        {"number": 1, "kind": "note", "text": 5},
        {"number": 1, "kind": "note", "colour": "red"},
        {"number": 1, "kind": "finding"},
        {"number": 1, "kind": "note", "finding": {}},
        {
            "number": 1,
            "kind": "finding",
            "finding": {"situation": {}, "look": {"kind": "smell"}, "outcome": "x"},
        },
        {"number": 1, "kind": "finding", "finding": {"situation": {}, "look": {}, "outcome": "x"}},
        {
            "number": 1,
            "kind": "finding",
            "finding": {"situation": {"power": 1}, "look": {"kind": "reads"}, "outcome": []},
        },
        {
            "number": 1,
            "kind": "finding",
            "finding": {"situation": {}, "look": {"kind": "reads"}, "outcome": None},
        },
        {"number": 1, "kind": "repair", "parts": "a"},
    ],
)
def test_a_record_that_is_none_is_refused(record: object) -> None:
    with pytest.raises(RecordError):
        entry_from_record(record)


def test_a_case_is_created_appended_to_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "pier.case"
    with CaseFile.create(path, HEADER) as file:
        file.append(Entry(1, "finding", "t1", "Ada", finding=SEEN))
        file.append(Entry(2, "note", text="\x1b[2Jclear \N{SNOWMAN} \u202e"))
    stored = open_case(path)
    assert stored.header == HEADER
    assert [entry.number for entry in stored.entries] == [1, 2]
    assert stored.entries[0].finding == SEEN
    assert stored.damaged == ()
    assert b"\x1b" not in path.read_bytes()
    with CaseFile.open(path) as file:
        assert file.stored == stored
        file.append(Entry(3, "retraction", target=2))
    assert open_case(path).entries[-1] == Entry(3, "retraction", target=2)


def test_every_entry_is_on_disk_when_append_returns(tmp_path: Path) -> None:
    path = tmp_path / "a.case"
    file = CaseFile.create(path, HEADER)
    for number in range(1, 6):
        file.append(Entry(number, "note", text=f"line {number}"))
        assert len(open_case(path).entries) == number
    file.close()


def test_a_case_of_the_same_name_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "a.case"
    CaseFile.create(path, HEADER).close()
    before = path.read_bytes()
    with pytest.raises(CaseFileError, match="already"):
        CaseFile.create(path, HEADER)
    assert path.read_bytes() == before


def test_an_entry_out_of_turn_is_refused(tmp_path: Path) -> None:
    with CaseFile.create(tmp_path / "a.case", HEADER) as file:
        with pytest.raises(CaseFileError, match="the next one is 1"):
            file.append(Entry(2, "note", text="too early"))
        file.append(Entry(1, "note", text="in turn"))
    assert len(open_case(tmp_path / "a.case").entries) == 1


def test_a_closed_file_says_so(tmp_path: Path) -> None:
    file = CaseFile.create(tmp_path / "a.case", HEADER)
    file.close()
    file.close()
    assert file.closed
    with pytest.raises(CaseFileError, match="closed"):
        file.append(Entry(1, "note"))


@pytest.mark.parametrize("cut", [1, 5, 20, 40])
def test_a_torn_last_line_is_reported_kept_and_written_past(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "a.case"
    with CaseFile.create(path, HEADER) as file:
        file.append(Entry(1, "note", text="whole"))
        file.append(Entry(2, "note", text="torn off by a power cut, somewhere in here"))
    raw = path.read_bytes()
    path.write_bytes(raw[:-cut])
    torn = raw[:-cut].split(b"\n")[-1].decode()
    stored = open_case(path)
    if cut == 1:  # only the line end is missing: the entry is whole
        assert len(stored.entries) == 2
        return
    assert [entry.text for entry in stored.entries] == ["whole"]
    assert stored.damaged == ((3, torn),)
    assert "line 3" in stored.warnings[0]
    with CaseFile.open(path) as file:
        file.append(Entry(2, "note", text="said again"))
    assert path.read_bytes().startswith(raw[:-cut])  # append-only: the torn line is still there
    again = open_case(path)
    assert [entry.text for entry in again.entries] == ["whole", "said again"]
    assert again.damaged == ((3, torn),)


def test_a_line_destroyed_in_the_middle_keeps_its_number(tmp_path: Path) -> None:
    path = tmp_path / "a.case"
    with CaseFile.create(path, HEADER) as file:
        for number in range(1, 4):
            file.append(Entry(number, "note", text=f"line {number}"))
        file.append(Entry(4, "retraction", target=3))
    lines = path.read_bytes().split(b"\n")
    lines[2] = lines[2][:8] + b"\x00\xff"
    path.write_bytes(b"\n".join(lines))
    stored = open_case(path)
    assert [entry.number for entry in stored.entries] == [1, 2, 3, 4]
    assert stored.entries[3].target == 3
    assert "no longer be read" in stored.entries[1].text
    assert len(stored.damaged) == 1


def test_a_header_torn_off_before_anything_was_acknowledged_may_be_made_anew(tmp_path: Path) -> None:
    path = tmp_path / "a.case"
    path.write_bytes(b'{"format": "matrixd')
    with pytest.raises(CaseFileError, match="no header"):
        open_case(path)
    CaseFile.create(path, HEADER).close()
    assert open_case(path).header == HEADER


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"hello\n",
        b"[1]\n",
        b"{}\n",
        b'{"format": "matrixdoc case", "version": 999}\n',
        b'{"format": "matrixdoc case", "version": 1, "settings": {"expected_faults": "many"}}\n',
        b"\x00" * 100,
        b"[" * 100_000,
    ],
)
def test_what_is_no_case_file_is_refused_in_words(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "a.case"
    path.write_bytes(raw)
    with pytest.raises(CaseFileError, match=r"a\.case"):
        open_case(path)
    with pytest.raises(CaseFileError):
        CaseFile.open(path)
    assert path.read_bytes() == raw


@given(st.binary(max_size=300))
def test_any_bytes_behind_the_header_lose_no_entry_before_them(tail: bytes) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.case"
        with CaseFile.create(path, HEADER) as file:
            file.append(Entry(1, "note", text="first"))
        with path.open("ab") as more:
            more.write(tail)
        stored = open_case(path)
        assert stored.entries[0].text == "first"
        with CaseFile.open(path) as file:
            file.append(Entry(len(stored.entries) + 1, "note", text="last"))
        assert open_case(path).entries[-1].text == "last"


def _hold(path: str, ready: str) -> None:
    with CaseFile.open(Path(path)):
        Path(ready).write_text("ready")
        time.sleep(60)


def test_two_programs_cannot_write_one_case(tmp_path: Path) -> None:
    path = tmp_path / "a.case"
    CaseFile.create(path, HEADER).close()
    ready = tmp_path / "ready"
    other = multiprocessing.get_context("spawn").Process(target=_hold, args=(str(path), str(ready)))
    other.start()
    try:
        _wait_for(ready)
        with pytest.raises(CaseFileError, match="another window"):
            CaseFile.open(path)
        assert open_case(path).header == HEADER  # reading does not need the lock
    finally:
        other.terminate()
        other.join()
        other.close()
    CaseFile.open(path).close()


_WRITER = """
import sys
from pathlib import Path
from matrixdoc.case.case import Entry
from matrixdoc.case.file import CaseFile
with CaseFile.open(Path(sys.argv[1])) as file:
    number = 1
    while True:
        file.append(Entry(number, "note", text="x" * (number % 700)))
        print(number, flush=True)
        number += 1
"""


def test_a_program_killed_while_writing_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    path = tmp_path / "a.case"
    CaseFile.create(path, HEADER).close()
    root = Path(__file__).parents[2]
    with subprocess.Popen(
        [sys.executable, "-c", _WRITER, str(path)], stdout=subprocess.PIPE, text=True, cwd=root
    ) as writer:
        assert writer.stdout is not None
        acknowledged = [int(writer.stdout.readline()) for _ in range(40)]
        os.kill(writer.pid, signal.SIGKILL)
        acknowledged += [int(line) for line in writer.stdout if line.endswith("\n")]
    stored = open_case(path)
    assert len(stored.entries) >= acknowledged[-1]
    assert [entry.number for entry in stored.entries] == list(range(1, len(stored.entries) + 1))
    with CaseFile.open(path) as file:
        file.append(Entry(len(stored.entries) + 1, "note", text="after the kill"))
    assert open_case(path).entries[-1].text == "after the kill"


def _wait_for(path: Path) -> None:
    until = time.monotonic() + 30
    while not path.exists():
        assert time.monotonic() < until, "the other process did not start"
        time.sleep(0.02)


def test_cases_are_found_again_by_name(own_user_folder: Path) -> None:
    assert list_cases() == ()
    assert cases_folder() == own_user_folder / "matrixdoc" / "cases"
    CaseFile.create(case_path("pier job"), HEADER).close()
    broken = case_path("broken one")
    broken.write_bytes(b"no case\n")
    listed = {one.path: one for one in list_cases()}
    assert listed[case_path("Pier Job")].name == "pier job"
    assert listed[case_path("Pier Job")].machine == "Pocket pier"
    assert "no header" in listed[broken].trouble


@pytest.mark.parametrize("name", ["", "..", "/", "\x1b", "///", "- -"])
def test_a_name_that_names_nothing_is_refused(name: str) -> None:
    with pytest.raises(CaseFileError, match="needs a name"):
        case_path(name)


@given(st.text(max_size=200))
def test_no_name_leaves_the_folder(name: str) -> None:
    folder = Path("cases")
    try:
        path = case_path(name, folder)
    except CaseFileError:
        return
    assert path.parent == folder
    assert path.name == Path(path.name).name
    assert not path.name.startswith(".")
    assert path.name.isprintable()
