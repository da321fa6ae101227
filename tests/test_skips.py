"""No test skips in silence: the rules of conftest.py, tried on small suites in a process of their own."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).with_name("conftest.py")
SETTINGS = "[pytest]\nmarkers = recordings: needs the open recordings\n"
PASSES = "def test_passes(): pass\n"


def run(folder: Path, text: str, *, ci: bool, data: Path) -> subprocess.CompletedProcess[str]:
    """Pytest on one module under the rules of conftest.py."""
    (folder / "conftest.py").write_text(CONFTEST.read_text(encoding="utf-8"), encoding="utf-8")
    (folder / "pytest.ini").write_text(SETTINGS, encoding="utf-8")
    (folder / "test_small.py").write_text(f"import pytest\n{text}", encoding="utf-8")
    environment = {**os.environ, "CI": "true" if ci else "", "GEARCASE_DATA": str(data)}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(folder)]
    return subprocess.run(command, capture_output=True, text=True, check=False, env=environment)


@pytest.mark.parametrize(
    "text",
    [
        "@pytest.mark.skip(reason='tool missing')\ndef test_skipped(): pass\n",
        "def test_skipped(): pytest.skip('tool missing')\n",
        "pytest.importorskip('no_such_module_anywhere')\n",
        "pytest.skip('tool missing', allow_module_level=True)\n",
    ],
)
def test_a_skip_fails_in_ci_and_only_there(text: str, tmp_path: Path) -> None:
    in_ci = run(tmp_path, PASSES + text, ci=True, data=tmp_path)
    assert in_ci.returncode != 0
    assert "skipped in CI, which counts as a failure" in in_ci.stdout
    (tmp_path / "test_other.py").write_text(PASSES)  # pytest calls a run of nothing a failure of its own
    assert run(tmp_path, PASSES + text, ci=False, data=tmp_path).returncode == 0


def test_absent_recordings_are_said_in_one_line_and_fail_in_ci(tmp_path: Path) -> None:
    text = PASSES + "@pytest.mark.recordings\ndef test_of_recordings(): raise AssertionError('ran without recordings')\n"
    outside = run(tmp_path, text, ci=False, data=tmp_path / "nowhere")
    assert outside.returncode == 0
    assert "1 tests of the open recordings left out" in outside.stdout
    in_ci = run(tmp_path, text, ci=True, data=tmp_path / "nowhere")
    assert in_ci.returncode != 0
    assert "set GEARCASE_DATA" in in_ci.stdout + in_ci.stderr


def test_present_recordings_are_used(tmp_path: Path) -> None:
    (tmp_path / "checks.csv").touch()
    text = "@pytest.mark.recordings\ndef test_of_recordings(): raise AssertionError('it ran')\n"
    assert "it ran" in run(tmp_path, text, ci=False, data=tmp_path).stdout
