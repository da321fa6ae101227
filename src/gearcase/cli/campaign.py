"""The verb of many jobs: plan each, in several processes where that is quicker, and gather their lists."""

import argparse
import sys
from typing import TYPE_CHECKING

from gearcase.cli.answers import NOTHING_WRONG, SOMETHING_WRONG, done

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from gearcase.stages.campaign import Planned
    from gearcase.stages.result import StageResult

__all__ = ["campaign"]

_WORTH_A_PROCESS = 25  # jobs for each process: a fresh one takes as long to start as to plan about so many


def campaign(given: argparse.Namespace) -> int:
    """Plan many jobs and gather what to bring, what to cut and what stops each."""
    from pathlib import Path

    from gearcase.drawings.text import campaign_text
    from gearcase.stages.campaign import job_folders, run

    result = run(list(_watched(job_folders([Path(name) for name in given.folder]), given)))
    words = campaign_text(result.document)
    if given.into:
        words += f"\n\nkept in {_keep(given, result)}, to print: campaign.pdf"
    done(given, result.document, words)
    return SOMETHING_WRONG if result.wrong else NOTHING_WRONG


def _keep(given: argparse.Namespace, result: "StageResult") -> "Path":
    """Keep the lists in the folder named, numbered as a stage's results are."""
    from pathlib import Path

    from gearcase.checksums import sha256_of_data
    from gearcase.drawings.drafting import TitleBlock
    from gearcase.drawings.list_blocks import campaign_sheet
    from gearcase.drawings.report import report_html, report_pdf
    from gearcase.record import results
    from gearcase.record.clock import now

    folder, when = Path(given.into), now()
    number = max(results.numbers(folder, result.stage), default=0) + 1
    block = TitleBlock(folder.resolve().name, result.stage, f"{number:04d}", when[:10], sha256_of_data(result.document)[:12])
    sheet = campaign_sheet(result.document, block)
    return results.write(
        folder,
        result.stage,
        document=result.document,
        arrays={},
        pictures={"campaign.pdf": report_pdf(sheet), "campaign.html": report_html(sheet).encode()},
        read=result.read,
        who=given.by,
        when=when,
    )


def _watched(folders: "Sequence[Path]", given: argparse.Namespace) -> "Iterator[Planned]":
    """Say which job was planned last, while a person looks."""
    watched = sys.stderr.isatty() and not given.json
    for number, planned in enumerate(_planned(folders), start=1):
        if watched:
            print(f"\r\033[K{number} of {len(folders)}: {planned.title}", end="", file=sys.stderr, flush=True)
        yield planned
    if watched:
        print("\r\033[K", end="", file=sys.stderr, flush=True)


def _planned(folders: "Sequence[Path]") -> "Iterator[Planned]":
    """Every job planned, in the order given. A process that dies takes no job but those it still had."""
    import os
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    from gearcase.errors import Problem
    from gearcase.stages.campaign import failed, plan_one

    processes = min(os.cpu_count() or 1, len(folders) // _WORTH_A_PROCESS)
    if processes < 2:
        yield from map(plan_one, folders)
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:  # numpy has threads: never fork
        waiting = [pool.submit(plan_one, folder) for folder in folders]
        for folder, future in zip(folders, waiting, strict=True):
            error = future.exception()
            yield (
                future.result()
                if error is None
                else failed(
                    folder,
                    Problem(str(folder), "", f"{type(error).__name__}: {error}", "plan it by itself to see why: gearcase plan"),
                )
            )
