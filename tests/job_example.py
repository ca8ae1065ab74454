"""The example of the job format, word for word, and a folder to read it in."""

from pathlib import Path

EXAMPLE = Path(__file__).with_name("job_example.toml").read_text(encoding="utf-8")


def make_job_folder(folder: Path, text: str) -> Path:
    """Write a job file, and beside it files where its photos should be."""
    (folder / "photos").mkdir(exist_ok=True)
    for side in ("face", "back", "foot", "head"):
        (folder / "photos" / f"a-{side}.jpg").write_bytes(b"a photo stands here")
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder
