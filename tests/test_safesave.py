"""A file that is replaced is never lost: killed, on a full disk, in a locked folder, changed by somebody else."""

import errno
import hashlib
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from grainplan.jobfolder.safesave import SaveError, replace_file

WRITER = """
import sys
from pathlib import Path
from grainplan.jobfolder.safesave import replace_file
path = Path(sys.argv[1])
print("ready", flush=True)
n = 0
while True:
    n += 1
    body = (str(n % 10) * 200_000).encode()
    replace_file(path, b"begin " + body + b" end")
"""


def test_a_file_killed_at_any_moment_is_whole(tmp_path):
    file = tmp_path / "job.toml"
    replace_file(file, b"begin 0 end")
    pauses = [0.0007 * 1.27**i for i in range(24)]
    for pause in pauses:
        writer = subprocess.Popen([sys.executable, "-c", WRITER, str(file)], stdout=subprocess.PIPE)
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(pause)
        writer.kill()
        writer.wait()
        writer.stdout.close()
        content = file.read_bytes()
        assert content.startswith(b"begin ")
        assert content.endswith(b" end")
        assert len(set(content[6:-4])) == 1, "two states are mixed"
    strays = list(tmp_path.glob("job.toml.*.tmp"))
    for stray in strays:
        os.utime(stray, (time.time() - 90_000,) * 2)
    fresh = tmp_path / "job.toml.fresh.tmp"
    fresh.write_bytes(b"another save that is going on")
    other = tmp_path / "other.toml.old.tmp"
    other.write_bytes(b"not ours")
    os.utime(other, (0, 0))
    replace_file(file, b"begin 0 end")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["job.toml", "job.toml.fresh.tmp", "other.toml.old.tmp"]


def test_mode_bits_stay_and_a_link_is_followed(tmp_path):
    file = tmp_path / "real" / "job.toml"
    file.parent.mkdir()
    file.write_bytes(b"old")
    file.chmod(0o640)
    link = tmp_path / "job.toml"
    link.symlink_to(file)
    replace_file(link, b"new")
    assert link.is_symlink()
    assert file.read_bytes() == b"new"
    assert file.stat().st_mode & 0o777 == 0o640


def _fail(monkeypatch, name, number):
    def refuse(*_args, **_kwargs):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, name, refuse)


@pytest.mark.parametrize(
    ("name", "number", "says"),
    [
        ("fsync", errno.ENOSPC, "the disk is full"),
        ("fsync", errno.EDQUOT, "the disk is full"),
        ("open", errno.EROFS, "can only be read"),
        ("open", errno.EACCES, "does not allow it"),
        ("open", errno.EIO, os.strerror(errno.EIO)),
    ],
)
def test_a_save_that_fails_says_why_and_leaves_the_file(tmp_path, monkeypatch, name, number, says):
    file = tmp_path / "job.toml"
    file.write_bytes(b"old")
    with monkeypatch.context() as patched:
        _fail(patched, name, number)
        with pytest.raises(SaveError, match=says):
            replace_file(file, b"new")
    assert file.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["job.toml"]


def test_a_disk_that_is_really_full(tmp_path):
    """The kernel's own full disk: nothing can be written to it."""
    if not Path("/dev/full").exists():
        pytest.fail("this system has no /dev/full to test on")
    link = tmp_path / "job.toml"
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom grainplan.jobfolder import safesave\n"
        "opened = os.open\n"
        "os.open = lambda path, *rest: opened('/dev/full' if str(path).endswith('.tmp') else path, os.O_WRONLY)\n"
        "try:\n    safesave.replace_file(Path(sys.argv[1]), b'x' * 100000)\n"
        "except safesave.SaveError as error:\n    print(error)\n"
    )
    link.write_bytes(b"old")
    said = subprocess.run([sys.executable, "-c", code, str(link)], capture_output=True, text=True, check=True)
    assert "the disk is full" in said.stdout
    assert link.read_bytes() == b"old"


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(SaveError, match="is not there"):
        replace_file(tmp_path / "nowhere" / "job.toml", b"new")


def test_a_file_that_somebody_else_changed_is_not_overwritten(tmp_path):
    file = tmp_path / "job.toml"
    file.write_bytes(b"as read")
    read = hashlib.sha256(b"as read").hexdigest()
    replace_file(file, b"mine", only_if_sha256=read)
    assert file.read_bytes() == b"mine"
    with pytest.raises(SaveError, match="changed by somebody else"):
        replace_file(file, b"mine again", only_if_sha256=read)
    file.unlink()
    with pytest.raises(SaveError, match="moved or deleted"):
        replace_file(file, b"mine again", only_if_sha256=read)
    assert list(tmp_path.iterdir()) == []
