"""Register maps that a job brings itself: ``profiles/*.csv`` beside job.yaml, in the form of the house's own ``registers.csv``."""

import csv
import io
from dataclasses import dataclass, field
from pathlib import Path

from gearcase.errors import BadInput, Problem
from gearcase.install.profile import Profile, profile, profile_names, profiles_of
from gearcase.job.read import Source, nearest, read_text
from gearcase.tables import Row, rows_of

__all__ = ["Profiles", "read_profiles", "unknown_profiles"]

FOLDER = "profiles"
_NEEDED = (
    "profile",
    "register",
    "address",
    "function",
    "type",
    "scale",
    "unit",
    "kind",
    "constant",
    "low",
    "high",
    "source",
    "basis",
)


@dataclass(frozen=True)
class Profiles:
    """Every profile a job may name: those of the house and its own; the rows of its own, and what is wrong with them."""

    by_name: dict[str, Profile] = field(default_factory=lambda: {name: profile(name) for name in profile_names()})
    own: tuple[Row, ...] = ()
    problems: tuple[Problem, ...] = ()


def read_profiles(folder: Path) -> Profiles:
    """The profiles of a job's folder; a job without any has those of the house."""
    found = Profiles().by_name
    own: list[Row] = []
    problems: list[Problem] = []
    for path in sorted((folder / FOLDER).glob("*.csv")):
        name = f"{FOLDER}/{path.name}"
        try:
            text = read_text(path, name)
        except BadInput as error:
            problems += error.problems
            continue
        columns = next(csv.reader(io.StringIO(text, newline="")), [])
        missing = [column for column in _NEEDED if column not in columns]
        if missing:
            problems.append(Problem(f"{name}:1", "", ", ".join(columns)[:60], f"the columns {', '.join(missing)} too"))
            continue
        rows, torn = rows_of(text)
        problems += [Problem(f"{name}:{number + 2}", "", "", rule) for number, rule in torn]
        if torn:  # the numbers of the rows left would be wrong
            continue
        profiles, wrong = profiles_of(rows)
        problems += [
            Problem(f"{name}:{number + 2}", f"{rows[number]['register']}, {column}", repr(rows[number].get(column, "")), rule)
            for number, column, rule in wrong
        ]
        for number, row in enumerate(rows):
            if row["profile"] in found and row["profile"] not in {other["profile"] for other in rows[:number]}:
                accepted = f"a name of its own: there is a {row['profile']} already"
                problems.append(Problem(f"{name}:{number + 2}", "profile", repr(row["profile"]), accepted))
        found |= profiles
        own += rows
    return Profiles(found, tuple(own), tuple(problems))


def unknown_profiles(source: Source, profiles: Profiles) -> list[Problem]:
    """Devices whose profile neither the house nor the job has."""
    known = tuple(profiles.by_name)
    return [
        source.problem((*path, "profile"), f"{nearest(name, known)}one of: {', '.join(known)}; its own stand in {FOLDER}/NAME.csv")
        for path, device in source.items(("bus", "devices"))
        if isinstance(name := device.get("profile"), str) and name not in known
    ]
