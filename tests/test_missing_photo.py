"""A photo that was deleted from the job folder: nothing that is typed is lost for it, and checking tells it."""

import pytest

from grainplan import changes, steps
from grainplan.errors import JobFileError, PhotoError
from grainplan.jobfolder.reading import read_job
from tests.job_example import EXAMPLE, make_job_folder

GONE = 'Board A, face, photo: "photos/a-face.jpg" is not there; did you mean a-back.jpg?'


@pytest.fixture
def folder(tmp_path):
    made = make_job_folder(tmp_path, EXAMPLE)
    (made / "photos" / "a-face.jpg").unlink()
    return made


def test_a_job_is_saved_though_a_photo_is_gone(folder):
    job = read_job(folder, missing_photos="told")
    assert job.missing_photos == (GONE,)
    changed = changes.write_values(job, {("shop", "kerf"): "3/32 in"})
    assert changed.shop.kerf_mm == pytest.approx(25.4 * 3 / 32)
    assert changed.missing_photos == (GONE,)
    assert 'kerf = "3/32 in"' in (folder / "job.toml").read_text()


def test_who_needs_the_photos_is_told_at_once(folder):
    with pytest.raises(JobFileError) as told:
        read_job(folder)
    assert told.value.faults == (GONE,)
    job = read_job(folder, missing_photos="told")
    with pytest.raises(PhotoError, match=r"a-face\.jpg is not there"):
        steps.measure(job)


def test_checking_tells_it_once(folder):
    faults = steps.check_job(folder).faults
    assert faults.count(GONE) == 1
    assert sum("a-face.jpg" in fault for fault in faults) == 1


def test_other_faults_of_a_path_still_stop_a_save(folder):
    job = read_job(folder, missing_photos="told")
    before = (folder / "job.toml").read_bytes()
    with pytest.raises(JobFileError, match="leaves the job folder"):
        changes.write_values(job, {("board", "A", "back", "photo"): "../elsewhere.jpg"})
    assert (folder / "job.toml").read_bytes() == before
