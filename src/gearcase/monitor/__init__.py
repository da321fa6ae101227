"""The running watch: polls devices or a folder, judges, sets the light, keeps what it saw."""
