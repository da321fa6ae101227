"""The shape of a password, token or other secret in job.yaml: never itself, but the file or environment variable that holds it.

`secret_checks` sees that there is one of the two, `secret_of` gives which; `device.publish.secrets` alone reads it.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field

from gearcase.job.fields import Name, Section, VariableName

__all__ = ["LoginModel", "Secret", "Variable", "by_file", "by_variable", "secret_of"]


@dataclass(frozen=True)
class Variable:
    """An environment variable of the running program, by its name."""

    name: str


Secret = Path | Variable  # where one is


def by_file(what: str) -> Any:
    """The field of a file that holds a secret; empty where a variable does."""
    return Field("", description=f"file that holds the {what}, from the job's folder, readable by its owner alone")


def by_variable(what: str) -> Any:
    """The field of an environment variable that holds a secret; empty where a file does."""
    return Field("", description=f"environment variable that holds the {what}, in place of a file, e.g. GEARCASE_{what.upper()}")


class LoginModel(Section):
    """Who logs in, and where the password is."""

    user: Name = Field("", description="name of the user")
    password_file: Name = by_file("password")
    password_variable: VariableName = by_variable("password")


def secret_of(folder: Path, file: str, variable: str) -> Secret:
    """Where a secret is; a file is named from the job's folder."""
    return Variable(variable) if variable else folder / file
