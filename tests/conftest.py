"""No test skips in silence: with CI=true every skip is a failure, and recordings that are not there are an error."""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from postgresql import Server

settings.register_profile("no clock", settings(), deadline=None)  # a busy machine is no failure: speed is measured in benchmarks/
settings.load_profile("no clock")

DATA = Path(os.environ.get("GEARCASE_DATA") or Path(__file__).parents[2] / "shared" / "data")
IN_CI = os.environ.get("CI") == "true"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave tests of the open recordings out where the recordings are not, and say so; in CI that is an error."""
    wanting = [item for item in items if item.get_closest_marker("recordings")]
    if not wanting or (DATA / "checks.csv").is_file():
        return
    if IN_CI:
        raise pytest.UsageError(f"the open recordings are not at {DATA}: set GEARCASE_DATA to the folder that holds checks.csv")
    items[:] = [item for item in items if item not in wanting]
    config.hook.pytest_deselected(items=wanting)
    print(f"\n{len(wanting)} tests of the open recordings left out: no folder {DATA}; set GEARCASE_DATA to run them")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item):  # type: ignore[no-untyped-def]
    """Turn every skip of a test into a failure in CI."""
    outcome = yield
    _fail_if_skipped(outcome.get_result())


@pytest.hookimpl(hookwrapper=True)
def pytest_make_collect_report(collector: pytest.Collector):  # type: ignore[no-untyped-def]
    """Turn every skip of a whole module into a failure in CI."""
    outcome = yield
    _fail_if_skipped(outcome.get_result())


def _fail_if_skipped(report: pytest.TestReport | pytest.CollectReport) -> None:
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped in CI, which counts as a failure: {report.longrepr}"


@pytest.fixture(scope="session")
def recordings() -> Path:
    """Folder of the open recordings."""
    return DATA


@pytest.fixture(scope="session")
def server() -> Iterator["Server"]:
    """One PostgreSQL for all tests that need one; each takes a database of its own."""
    from postgresql import running

    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        Path(folder).chmod(0o755)
        (Path(folder) / "server").mkdir()
        with running(Path(folder) / "server") as server:
            yield server


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.long)])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """Where a new store may be made: the same tests hold on both databases."""
    if request.param == "sqlite":
        return tmp_path / "job" / "results" / "watch" / "readings.sqlite"
    return str(request.getfixturevalue("server").database())
