"""docs/recordings.md says of every open recording what the project says of it today, and nothing in it is wrong."""

from pathlib import Path

import pytest
from studies.recordings import SETS, table

pytestmark = pytest.mark.recordings
PAGE = Path(__file__).parents[1] / "docs" / "recordings.md"


@pytest.mark.parametrize("title", SETS)
def test_the_page_holds_the_table_as_the_command_prints_it(title: str, recordings: Path) -> None:
    rows = list(SETS[title](recordings))
    assert table(title, rows) in PAGE.read_text(encoding="utf-8")
    assert not [row.record for row in rows if row.right is False]
