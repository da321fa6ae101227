"""What the form of a secret cannot see: that its file or its variable is named, one of them, and a user with a password."""

from collections.abc import Iterator

from gearcase.errors import Problem
from gearcase.job.read import Source
from gearcase.job.secret_schema import LoginModel

__all__ = ["login_check", "secret_check"]


def login_check(source: Source, path: tuple[str | int, ...], login: LoginModel) -> Iterator[Problem]:
    """A user and one place of the password, or neither."""
    if login.user or login.password_file or login.password_variable:
        yield from secret_check(source, path, "password")
        if not login.user:
            accepted = "both user and password_file (or password_variable), or none; missing: user"
            yield source.problem((*path, "password_file"), accepted)


def secret_check(source: Source, path: tuple[str | int, ...], what: str) -> Iterator[Problem]:
    """Neither or both of the places where a secret can be."""
    file, variable = f"{what}_file", f"{what}_variable"
    held = [key for key in (file, variable) if source.value((*path, key))]
    if len(held) == 2:
        yield source.problem((*path, variable), f"left out: {file} holds the {what} already")
    elif not held:
        needed = f"needed: file that holds the {what}, from the job's folder; or {variable}"
        yield source.problem((*path, file), needed, given="nothing")
