"""The document: job.yaml read, checked, turned into the drive model, and written back."""
