"""The stages of a job. Each has `run(job, ...) -> StageResult` and reads no clock, no terminal and no file it was not
given.
"""
