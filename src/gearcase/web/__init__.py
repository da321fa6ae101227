"""Read-only pages of a job, for a browser on the same machine."""
