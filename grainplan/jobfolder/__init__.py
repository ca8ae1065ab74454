"""The files of a job folder: `job.toml`, saved so that it cannot be lost, and the plan and measurements beside it."""
