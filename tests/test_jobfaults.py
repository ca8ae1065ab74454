"""Faulty job files, each with the sentences that a maker reads; the table of them is job_faults.toml."""

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from grainplan.errors import JobFileError
from grainplan.jobfolder.reading import read_job, read_job_bytes, read_job_table
from tests.job_example import EXAMPLE, make_job_folder

TABLE = tomllib.loads(Path(__file__).with_name("job_faults.toml").read_text(encoding="utf-8"))
RIGHT = TABLE["right"]
CHANGES = {case["case"]: case for case in TABLE["change"]}


def _faults(folder, text):
    with pytest.raises(JobFileError) as told:
        read_job(make_job_folder(folder, text))
    return list(told.value.faults)


def test_the_right_job_is_right(tmp_path):
    assert read_job(make_job_folder(tmp_path, RIGHT)).title == "Hall cupboard"


@pytest.mark.parametrize("case", TABLE["change"], ids=lambda case: case["case"])
def test_a_fault_is_told_in_this_sentence(tmp_path, case):
    assert case["old"] in RIGHT
    assert _faults(tmp_path, RIGHT.replace(case["old"], case["new"], 1)) == case["says"]


@pytest.mark.parametrize("case", TABLE["addition"], ids=lambda case: case["case"])
def test_a_fault_of_what_is_decided_later_is_told(tmp_path, case):
    assert _faults(tmp_path, RIGHT + case["added"] + "\n") == case["says"]


@pytest.mark.parametrize("case", TABLE["unreadable"], ids=lambda case: case["line"])
def test_a_line_that_cannot_be_read_is_told_with_its_place_and_cause(tmp_path, case):
    line, cause = case["line"], case["cause"]
    text = RIGHT.replace('kerf = "1/16 in"\nplaning = "1/32 in"', f'planing = "1/32 in"\n{line}', 1)
    (told,) = _faults(tmp_path, text)
    assert re.fullmatch(rf"Line 15, column \d+ cannot be read: .*\. {re.escape(cause)}", told)


def test_every_fault_is_told_at_once_in_the_order_of_the_file(tmp_path):
    text, expected = RIGHT, []
    for case in ("wet wood", "negative planing", "too many strips", "a misspelt seen", "a quarter name", "no width"):
        change = CHANGES[case]
        text = text.replace(change["old"], change["new"], 1)
        expected += change["says"]
    lines = [said.split(":")[0] for said in expected]
    told = _faults(tmp_path, text)
    assert sorted(told) == sorted(expected)
    assert [said.split(":")[0] for said in told] == [*lines[:4], "Board B, width", "Board B, thickness"]


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    (tmp_path / "job").mkdir()
    folder = make_job_folder(tmp_path / "job", RIGHT)
    outside = tmp_path / "outside.jpg"
    outside.write_bytes(b"photo")
    (folder / "photos" / "a-face.jpg").unlink()
    (folder / "photos" / "a-face.jpg").symlink_to(outside)
    with pytest.raises(JobFileError, match="leads out of the job folder by a link"):
        read_job(folder)


def test_a_file_that_is_not_text_is_told(tmp_path):
    folder = make_job_folder(tmp_path, RIGHT)
    (folder / "job.toml").write_bytes(RIGHT.replace("Hall", "Höll").encode("latin-1"))
    with pytest.raises(JobFileError, match="line 2 has a letter that is not in UTF-8"):
        read_job(folder)
    (folder / "job.toml").write_bytes(b"x" * 6_000_000)
    with pytest.raises(JobFileError, match="6 MB large"):
        read_job(folder)


GARBAGE = st.recursive(
    st.one_of(
        st.text(max_size=30),
        st.integers(),
        st.floats(),
        st.booleans(),
        st.datetimes(),
        st.dates(),
        st.times(),
        st.sampled_from(
            ["A1", "auto", "1 in", "-1 in", "photos/../a", "\x00", "~", "right door", "9" * 400 + " in", 10**400]
        ),
    ),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["photo", "x", "corners", "a"]), inner),
    max_leaves=6,
)
ALL = (
    EXAMPLE
    + """
[[keep]]
bay = "left door"
leaves = ["A1"]
[[leave_out]]
board = "A"
bay = "left door"
[[leaf]]
leaf = "A1"
near = { photo = "photos/a-face.jpg" }
[weights]
seams = 1
[ring_bands]
plain_to = 30
[wish]
spare_pair = true
"""
)


def _places(here, path=()):
    """Every place in a table, the tables themselves included."""
    if path:
        yield path
    inner = here.items() if isinstance(here, dict) else enumerate(here) if isinstance(here, list) else ()
    for key, value in inner:
        yield from _places(value, (*path, key))


PLACES = list(_places(tomllib.loads(ALL)))


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.sampled_from(PLACES), GARBAGE), min_size=1, max_size=3))
def test_any_value_anywhere_is_read_or_told_in_sentences(tmp_path_factory, changes):
    """Whatever stands behind a key: a job, or sentences, and never anything else."""
    raw = tomllib.loads(ALL)
    for path, value in changes:
        here = raw
        try:
            for key in path[:-1]:
                here = here[key]
            here[path[-1]] = value
        except (TypeError, KeyError, IndexError):
            continue  # an earlier change took the place away
    folder = tmp_path_factory.getbasetemp() / "garbage"
    folder.mkdir(exist_ok=True)
    make_job_folder(folder, "")
    try:
        read_job_table(raw, folder / "job.toml")
    except JobFileError as error:
        faults = error.faults
    else:
        faults = ()
    for fault in faults:
        assert "Traceback" not in fault
        assert "pydantic" not in fault
        assert fault.isprintable()
        assert len(fault) < 700


@settings(max_examples=200, deadline=None)
@given(st.integers(0, len(EXAMPLE) - 1), st.text(max_size=4), st.integers(0, 6))
def test_a_file_with_letters_gone_wrong_is_read_or_told_in_sentences(tmp_path_factory, at, put, gone):
    text = EXAMPLE[:at] + put + EXAMPLE[at + gone :]
    folder = tmp_path_factory.getbasetemp() / "letters"
    folder.mkdir(exist_ok=True)
    make_job_folder(folder, "")
    try:
        read_job_bytes(text.encode("utf-8", "surrogatepass"), folder / "job.toml")
    except JobFileError as error:
        faults = error.faults
    else:
        faults = ()
    assert all(fault.isprintable() and len(fault) < 900 for fault in faults)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=60))
def test_any_bytes_are_told_in_sentences(content):
    with pytest.raises(JobFileError):
        read_job_bytes(content, Path("job.toml"))
